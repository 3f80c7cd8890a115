"""Arrows that still stand in the sheet: bars in the photo, their feet, and the shots they are."""

from groupscan.photo.arrows.standing import Shaft, add_arrows, find_shafts

__all__ = ["Shaft", "add_arrows", "find_shafts"]
