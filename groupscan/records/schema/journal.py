"""What was corrected, when and by whom: a line for each row that was changed, never changed."""

import sqlalchemy as sa

from groupscan.records.schema.base import UtcDateTime, identity, metadata

__all__ = ["audit"]

audit = sa.Table(
    "audit",
    metadata,
    *identity(),
    sa.Column("at", UtcDateTime, nullable=False),
    sa.Column("actor", sa.Text, nullable=False),
    sa.Column("action", sa.Text, nullable=False),
    sa.Column("entry", sa.Text, nullable=False),
    sa.Column("entry_uid", sa.String(32), nullable=False, index=True),
    sa.Column("before", sa.JSON, nullable=False),
    sa.Column("after", sa.JSON, nullable=False),
)
