"""The demo club: the sample photos, scanned, and an invented season about them."""

from groupscan.demo.filling import TO_TRY, fill_demo, told_of
from groupscan.demo.photos import find_samples

__all__ = ["TO_TRY", "fill_demo", "find_samples", "told_of"]
