"""Sessions, scans, shots and photos, kept in one database and one folder."""
