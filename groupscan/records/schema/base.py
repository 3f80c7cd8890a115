"""What all tables share: names of constraints, instants, identities, and who saved when."""

import uuid
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa

__all__ = ["REVISION", "UtcDateTime", "identity", "metadata", "new_uid", "reference", "stamps"]

REVISION = "0004"
"""The migration that these tables stand for. Known here so that opening an up-to-date store
need not load alembic."""


class UtcDateTime(sa.types.TypeDecorator[datetime]):
    """An instant: goes in with any time zone, comes out in UTC.

    SQLite drops time zones silently, so a date and time without one is refused rather than
    guessed at.
    """

    impl = sa.DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Any) -> datetime | None:
        """Turn `value` into UTC on its way in."""
        if value is None:
            return None
        if value.utcoffset() is None:
            raise ValueError(f"{value!r} has no time zone: give one, such as datetime.UTC")
        return value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Any) -> datetime | None:
        """Say that what comes out is UTC."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


metadata = sa.MetaData(
    naming_convention={
        "ix": "ix_%(column_0_N_label)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def new_uid() -> str:
    """Return an identity that no other row of any store has: 32 hexadecimal digits."""
    return uuid.uuid4().hex


def identity() -> list[sa.Column[Any]]:
    """Return the columns that say which row this is.

    ``id`` is a number of this store; ``uid`` goes along when a row is carried to another store,
    so that it is known again there.
    """
    return [
        sa.Column("id", sa.Integer, primary_key=True),
        # By its uid a new row is told from the others of one INSERT, which gives back their ids.
        sa.Column(
            "uid", sa.String(32), nullable=False, unique=True, default=new_uid, insert_sentinel=True
        ),
    ]


def stamps(*, revised: bool = True) -> list[sa.Column[Any]]:
    """Return the columns that the store itself keeps; `revised` where a row may be saved again."""
    columns: list[sa.Column[Any]] = [
        sa.Column("created_at", UtcDateTime, nullable=False),
        sa.Column("deleted_at", UtcDateTime),
    ]
    if revised:
        columns += [
            sa.Column("revision", sa.Integer, nullable=False),
            sa.Column("updated_at", UtcDateTime, nullable=False),
        ]
    return columns


def reference(name: str, target: str, *, needed: bool = False, **options: Any) -> sa.Column[Any]:
    """Return an indexed column that refers to a row of another table."""
    return sa.Column(
        name, sa.ForeignKey(f"{target}.id", **options), nullable=not needed, index=True
    )
