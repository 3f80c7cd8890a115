"""Charts and printed pages."""
