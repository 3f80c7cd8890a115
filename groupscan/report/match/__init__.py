"""Heads, builds or setups over one another as a picture, for the screen and paper, and in words."""
