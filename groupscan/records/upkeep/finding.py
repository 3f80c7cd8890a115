"""What a look over the records finds."""

from dataclasses import dataclass
from typing import Literal

__all__ = ["Finding", "Kind"]

Kind = Literal[
    "database damaged",
    "index damaged",
    "rule not held",
    "entry missing",
    "photo missing",
    "photo damaged",
    "photo unreadable",
    "photo size wrong",
    "photo without entry",
    "foreign file",
    "left-over file",
    "draft unreadable",
]


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One thing that is not as it should be.

    Attributes
    ----------
    kind : str
        One of `Kind`.
    what : str
        Which entry or file, in words.
    safe : bool
        Whether it can be put right without a chance of losing anything.
    repaired : bool
        Whether it was.
    advice : str
        What to do; or what was done, where it was repaired.
    """

    kind: Kind
    what: str
    safe: bool = False
    repaired: bool = False
    advice: str = ""
