"""Scale marks, one module a kind, each with ``find(photo, *, sheet=None) -> Marks | None``."""
