"""The records: open them, save, load, list, delete and restore.

Each function is one transaction: it happens whole or not at all. Nothing is ever erased here. A
deletion hides an entry until it is restored, a removed shot stays with its mark, and the position
that the scan found stays beside the corrected one.
"""

import os
from pathlib import Path

import sqlalchemy as sa

from groupscan.errors import StoreError
from groupscan.records.address import parse_url
from groupscan.records.connect import Store, make_engine
from groupscan.records.entries import (
    Arrow,
    Build,
    Head,
    Pin,
    Rig,
    ScanRecord,
    Session,
    Setup,
    Shooter,
    ShotRecord,
    Speed,
)
from groupscan.records.frames import list_scans, list_sessions, shots_frame
from groupscan.records.gear import (
    add_setup,
    get_arrow,
    get_build,
    get_head,
    get_rig,
    get_setup,
    get_shooter,
    rebuild_arrow,
    rebuild_arrows,
    save_arrow,
    save_arrows,
    save_build,
    save_head,
    save_rig,
    save_shooter,
)
from groupscan.records.lists import (
    list_arrows,
    list_builds,
    list_corrections,
    list_heads,
    list_identities,
    list_pins,
    list_rigs,
    list_setups,
    list_shooters,
    list_speeds,
)
from groupscan.records.measured import add_pins, add_speeds
from groupscan.records.outings import Outing, save_outings
from groupscan.records.photos import add_photo, photo_bytes
from groupscan.records.removal import delete_entry, restore_entry
from groupscan.records.scans import load_scan, save_scan
from groupscan.records.sessions import get_session, save_session
from groupscan.records.taken_over import take_over
from groupscan.records.upgrade import prepare

__all__ = [
    "Arrow",
    "Build",
    "Head",
    "Outing",
    "Pin",
    "Rig",
    "ScanRecord",
    "Session",
    "Setup",
    "Shooter",
    "ShotRecord",
    "Speed",
    "Store",
    "add_photo",
    "add_pins",
    "add_setup",
    "add_speeds",
    "delete_entry",
    "get_arrow",
    "get_build",
    "get_head",
    "get_rig",
    "get_session",
    "get_setup",
    "get_shooter",
    "list_arrows",
    "list_builds",
    "list_corrections",
    "list_heads",
    "list_identities",
    "list_pins",
    "list_rigs",
    "list_scans",
    "list_sessions",
    "list_setups",
    "list_shooters",
    "list_speeds",
    "load_scan",
    "open_store",
    "photo_bytes",
    "rebuild_arrow",
    "rebuild_arrows",
    "restore_entry",
    "save_arrow",
    "save_arrows",
    "save_build",
    "save_head",
    "save_outings",
    "save_rig",
    "save_scan",
    "save_session",
    "save_shooter",
    "shots_frame",
]


def open_store(home: Path | None = None, *, database_url: str | None = None) -> Store:
    """Open the records, creating them or bringing their tables up to date first.

    Parameters
    ----------
    home : Path, optional
        Folder of the records; made if need be. Left out: ``GROUPSCAN_HOME``, or else the
        platform's folder for user data.
    database_url : str, optional
        Address of the database, such as ``sqlite:////srv/club/records.db`` or
        ``postgresql://ada@host/club``. Left out: ``GROUPSCAN_DATABASE_URL`` where `home` is left
        out too, or else the file ``groupscan.db`` in the folder.

    Returns
    -------
    Store
        Handle for the other functions. Close it with its ``close()`` when done.

    Raises
    ------
    StoreError
        The folder cannot be made or written to, the address makes no sense, or the database is
        damaged, too new or not groupscan's. What was there is left as it was.

    Examples
    --------
    >>> from contextlib import closing
    >>> from datetime import date
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder, closing(open_store(Path(folder))) as store:
    ...     saved = save_session(store, Session(held_on=date(2026, 5, 3), place="North butts"))
    ...     get_session(store, saved).place
    'North butts'
    """
    if home is None:
        database_url = database_url or os.environ.get("GROUPSCAN_DATABASE_URL") or None
    home = _home(home)
    photo_dir = home / "photos"
    try:
        home.mkdir(mode=0o700, parents=True, exist_ok=True)
        photo_dir.mkdir(exist_ok=True)
    except OSError as err:
        raise StoreError(
            f"the folder of the records, {home}, cannot be made or written to "
            f"({err.strerror}): give your user the right to write there, or set GROUPSCAN_HOME to "
            "a folder of your own"
        ) from err
    if database_url is None:
        url = sa.URL.create("sqlite", database=str(home / "groupscan.db"))
    else:
        url = parse_url(database_url)
    prepare(url)
    store = Store(make_engine(url, "write"), make_engine(url, "read"), photo_dir, home)
    take_over(store)
    return store


def _home(home: Path | None) -> Path:
    if home is None:
        if named := os.environ.get("GROUPSCAN_HOME"):
            home = Path(named)
        else:
            from platformdirs import user_data_path

            home = user_data_path("groupscan", appauthor=False)
    return Path(home).expanduser().absolute()
