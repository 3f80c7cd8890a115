"""The tables, as the newest migration leaves them.

Written for SQLite and PostgreSQL alike. A change here goes with a new file in
``migrations/versions`` and a new `REVISION`; tests hold the three together.
"""

from groupscan.records.schema.base import REVISION, UtcDateTime, metadata
from groupscan.records.schema.bench import pin, speed
from groupscan.records.schema.gear import arrow, build, head, rig, setup, shooter
from groupscan.records.schema.journal import audit
from groupscan.records.schema.shooting import photo, scan, session, shot

__all__ = [
    "REVISION",
    "UtcDateTime",
    "arrow",
    "audit",
    "build",
    "head",
    "metadata",
    "photo",
    "pin",
    "rig",
    "scan",
    "session",
    "setup",
    "shooter",
    "shot",
    "speed",
]
