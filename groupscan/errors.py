"""Every error that groupscan raises on purpose.

The tree::

    GroupscanError
    ├── PhotoError(ValueError)        the photo cannot be read
    ├── MarksError(ValueError)        the scale cannot be trusted: give marks by hand
    ├── SheetError(ValueError)        a sheet file or sheet identifier is wrong
    ├── StatisticsError(ValueError)   shots that no statistic can be computed from
    ├── TableError(ValueError)        a table of shots cannot be read, or mixes what must not be
    ├── UnitError(ValueError)         a quantity that cannot be read, such as "40 parsecs"
    ├── RigError(ValueError)          a part, speed or sight that cannot be, a shot that falls short
    └── StoreError(RuntimeError)      the records cannot be opened, read or written

A message says what was wrong with which input, and what to do next.
"""

__all__ = [
    "GroupscanError",
    "MarksError",
    "PhotoError",
    "RigError",
    "SheetError",
    "StatisticsError",
    "StoreError",
    "TableError",
    "UnitError",
]


class GroupscanError(Exception):
    """Base of every error that groupscan raises on purpose."""


class PhotoError(GroupscanError, ValueError):
    """The photo cannot be read: damaged, cut short, too large or not a photo."""


class MarksError(GroupscanError, ValueError):
    """The scale cannot be trusted to 1 %; marks by hand would settle it."""


class SheetError(GroupscanError, ValueError):
    """A sheet identifier is unknown, or a sheet file does not describe a sheet."""


class StatisticsError(GroupscanError, ValueError):
    """The shots given allow no statistic: none, not finite, or of the wrong shape."""


class TableError(GroupscanError, ValueError):
    """A table of shots cannot be read, lacks what was asked of it, or mixes what must not be."""


class UnitError(GroupscanError, ValueError):
    """A quantity cannot be read, or has a unit of the wrong kind."""


class RigError(GroupscanError, ValueError):
    """A mass, speed, drag or sight cannot be as given, or no shot can do what was asked of it."""


class StoreError(GroupscanError, RuntimeError):
    """The records cannot be opened, read or written."""
