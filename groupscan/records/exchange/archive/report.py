"""What an import did, or would do."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field

__all__ = ["Conflict", "Counts", "ImportReport", "Namesake", "Tally"]


@dataclass(frozen=True)
class Counts:
    """Rows of one table.

    Attributes
    ----------
    new : int
        Put in.
    known : int
        Here already, and the same.
    joined : int
        Taken for an entry that is here under the same name.
    kept : int
        Here already and not the same: ours stay as they are.
    back : int
        Hidden with an import that was undone, and brought back as they were.
    """

    new: int = 0
    known: int = 0
    joined: int = 0
    kept: int = 0
    back: int = 0


@dataclass(frozen=True)
class Conflict:
    """An entry that is not the same here and in the archive; ours was kept.

    Attributes
    ----------
    entry : str
        The table.
    name : str
        What the entry is called here.
    differs : tuple of str
        What differs.
    """

    entry: str
    name: str
    differs: tuple[str, ...]


@dataclass(frozen=True)
class Namesake:
    """An entry of the archive that has the name of another one of ours.

    Attributes
    ----------
    entry : str
        The table.
    name : str
        What both are called.
    now_called : str
        The same where the two were taken for one; else the name under which it was put in, since
        they cannot be one.
    why : tuple of str
        What they differ in that one thing cannot.
    """

    entry: str
    name: str
    now_called: str
    why: tuple[str, ...] = ()


@dataclass(frozen=True)
class ImportReport:
    """What an import did, or would do.

    Attributes
    ----------
    counts : mapping
        `Counts` by table.
    conflicts : tuple of Conflict
        Entries of which ours were kept.
    namesakes : tuple of Namesake
        Entries that were known by their names alone.
    photos : int
        Photos that were put in place.
    missing_photos : tuple of str
        Photos that the archive names and does not hold.
    dry_run : bool
        Whether nothing was stored.
    uid : str
        The identity of the import, for `groupscan.records.exchange.undoing.undo_import`; empty
        where nothing came in.
    """

    counts: Mapping[str, Counts]
    conflicts: tuple[Conflict, ...] = ()
    namesakes: tuple[Namesake, ...] = ()
    photos: int = 0
    missing_photos: tuple[str, ...] = ()
    dry_run: bool = False
    uid: str = ""

    @property
    def brings_anything(self) -> bool:
        """Whether any row is new or brought back."""
        return any(one.new or one.back for one in self.counts.values())


@dataclass
class Tally:
    """An `ImportReport` in the making, with entries by their identities.

    Those in `added` can be hidden again.
    """

    counts: dict[str, Counter[str]] = field(default_factory=dict)
    conflicts: list[tuple[str, str, tuple[str, ...]]] = field(default_factory=list)
    namesakes: list[Namesake] = field(default_factory=list)
    added: dict[str, list[str]] = field(default_factory=dict)

    def count(self, table: str, what: str, rows: int = 1) -> None:
        """Count rows of a table under one of the names of `Counts`."""
        self.counts.setdefault(table, Counter())[what] += rows

    def keep(self, table: str, uid: str, differs: tuple[str, ...]) -> None:
        """Note that ours was kept."""
        self.count(table, "kept")
        self.differs(table, uid, differs)

    def differs(self, table: str, uid: str, differs: tuple[str, ...]) -> None:
        """Note that ours is not the same."""
        self.conflicts.append((table, uid, differs))
