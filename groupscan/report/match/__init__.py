"""Heads, builds or setups over one another as a picture, on the screen and on paper, and in words."""
