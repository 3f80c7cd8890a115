"""An earlier photo of the same sheet: register the two, and keep only what is new."""

from groupscan.photo.before.compare import Seen, only_new
from groupscan.photo.before.register import carry

__all__ = ["Seen", "carry", "only_new"]
