"""What may be stored: entries turned into rows, and rows into entries.

Every value is checked here, with a message that names it, before a transaction begins. Numbers
become Python's own (numpy scalars would be stored as raw bytes), NaN becomes "not known".
"""
