"""A look over everything: database, references, photos and drafts; repairs what is safe.

Nothing is ever erased but the beginnings of files that were never finished: what does not belong
is moved aside, and no shot, end or session is taken away.
"""

from collections.abc import Iterator
from pathlib import Path

from groupscan.records.connect import Store
from groupscan.records.drafts import read_draft
from groupscan.records.files import Progress
from groupscan.records.upkeep.finding import Finding
from groupscan.records.upkeep.photo_files import (
    ASIDE,
    check_photos,
    left_over,
    set_aside,
)
from groupscan.records.upkeep.tables import check_tables

__all__ = ["Finding", "check_store"]


def check_store(
    store: Store, *, repair: bool = False, progress: Progress | None = None
) -> list[Finding]:
    """Look the records over, and put right what is safe where told to.

    Parameters
    ----------
    store : Store
        The records. Other programs may go on using them.
    repair : bool
        Whether to put right what is safe: indexes and sizes of photos are made anew from what
        they tell of, sound photos without an entry get one, beginnings of files older than an
        hour are removed, and what is damaged or foreign is moved to the folder ``set-aside``. A
        damaged photo is not repaired by that.
    progress : callable, optional
        Called with how many photos were looked at and how many there are; each is read whole.

    Returns
    -------
    list of Finding
        Empty where all is well.

    Raises
    ------
    StoreError
        The database cannot be read or, for a repair, written to.

    Examples
    --------
    >>> from contextlib import closing
    >>> from tempfile import TemporaryDirectory
    >>> from groupscan.records.store import add_photo, open_store
    >>> with TemporaryDirectory() as folder, closing(open_store(Path(folder))) as store:
    ...     _ = add_photo(store, b"a photo", name="end 1.jpg")
    ...     well = check_store(store)
    ...     _ = Path(folder, "photos", "notes.txt").write_text("not a photo")
    ...     well, [(finding.kind, finding.safe) for finding in check_store(store)]
    ([], [('foreign file', True)])
    """
    found = check_tables(store, repair=repair)
    if any(finding.kind == "database damaged" for finding in found):
        # What a damaged database says of photos may be wrong: none is moved on its word.
        return found
    found.extend(check_photos(store, repair=repair, progress=progress))
    found.extend(_drafts(store, repair=repair))
    return found


def _drafts(store: Store, *, repair: bool) -> Iterator[Finding]:
    folder = store.home / "drafts"
    for path in sorted(folder.glob(".*.part")):
        if (finding := left_over(path, repair=repair)) is not None:
            yield finding
    for path in sorted(folder.glob("*.json")):
        if not _readable(store, path):
            finding = Finding(
                kind="draft unreadable",
                what=f"the draft {path} cannot be read",
                advice="let it be moved aside and do that photo again",
            )
            yield set_aside(finding, path, folder / ASIDE, repair=repair)


def _readable(store: Store, path: Path) -> bool:
    named = len(path.stem) == 64 and set(path.stem) <= set("0123456789abcdef")
    return named and read_draft(store, path.stem) is not None
