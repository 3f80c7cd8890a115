"""Records out of the store and into it: archives, and tables of shots."""
