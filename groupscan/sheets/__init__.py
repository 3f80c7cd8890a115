"""The catalogue of practice sheets as data, and the sheets that users print."""
