"""Printed pages: a session, a comparison, a student; each on one sheet of paper where it fits."""
