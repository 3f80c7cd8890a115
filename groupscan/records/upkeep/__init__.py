"""Keeping the records in order: looking them over, and copies of them."""
