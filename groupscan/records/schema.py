"""The tables, as the newest migration leaves them.

Written for SQLite and PostgreSQL alike. A change here goes with a new file in
``migrations/versions`` and a new `REVISION`; tests hold the three together.
"""

from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa

__all__ = ["REVISION", "UtcDateTime", "metadata", "photo", "scan", "session", "shot"]

REVISION = "0002"
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

photo = sa.Table(
    "photo",
    metadata,
    sa.Column("sha256", sa.String(64), primary_key=True),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("size_bytes", sa.BigInteger, nullable=False),
    sa.Column("width_px", sa.Integer),
    sa.Column("height_px", sa.Integer),
    sa.Column("added_at", UtcDateTime, nullable=False),
    sa.CheckConstraint("length(sha256) = 64", name="sha256_length"),
)

session = sa.Table(
    "session",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("revision", sa.Integer, nullable=False),
    sa.Column("held_on", sa.Date, nullable=False),
    sa.Column("place", sa.Text, nullable=False),
    sa.Column("shooter", sa.Text, nullable=False),
    sa.Column("rig", sa.Text, nullable=False),
    sa.Column("distance_m", sa.Double),
    sa.Column("notes", sa.Text, nullable=False),
    sa.Column("created_at", UtcDateTime, nullable=False),
    sa.Column("updated_at", UtcDateTime, nullable=False),
    sa.Column("deleted_at", UtcDateTime),
    sa.CheckConstraint("distance_m > 0", name="distance_positive"),
)

scan = sa.Table(
    "scan",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("revision", sa.Integer, nullable=False),
    sa.Column("session_id", sa.ForeignKey("session.id"), nullable=False, index=True),
    sa.Column("photo_sha256", sa.ForeignKey("photo.sha256"), nullable=False, index=True),
    sa.Column("photo_name", sa.Text, nullable=False),
    sa.Column("width_px", sa.Integer, nullable=False),
    sa.Column("height_px", sa.Integer, nullable=False),
    sa.Column("sheet", sa.Text),
    sa.Column("scale_source", sa.Text, nullable=False),
    sa.Column("mm_per_px", sa.Double),
    sa.Column("mm_per_px_se", sa.Double),
    sa.Column("tilt_deg", sa.Double),
    sa.Column("residual_px", sa.Double),
    sa.Column("mm_to_px", sa.JSON, nullable=False),
    sa.Column("lens", sa.JSON(none_as_null=True)),
    sa.Column("aim_x_mm", sa.Double, nullable=False),
    sa.Column("aim_y_mm", sa.Double, nullable=False),
    sa.Column("aims_mm", sa.JSON, nullable=False),
    sa.Column("warnings", sa.JSON, nullable=False),
    sa.Column("shaft_mm", sa.Double),
    sa.Column("created_at", UtcDateTime, nullable=False),
    sa.Column("updated_at", UtcDateTime, nullable=False),
    sa.Column("deleted_at", UtcDateTime),
    sa.Column("bend", sa.JSON(none_as_null=True)),
)

shot = sa.Table(
    "shot",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("scan_id", sa.ForeignKey("scan.id", ondelete="CASCADE"), nullable=False, index=True),
    sa.Column("number", sa.Integer, nullable=False),
    sa.Column("auto_x_mm", sa.Double),
    sa.Column("auto_y_mm", sa.Double),
    sa.Column("auto_se_mm", sa.Double),
    sa.Column("x_mm", sa.Double, nullable=False),
    sa.Column("y_mm", sa.Double, nullable=False),
    sa.Column("x_px", sa.Double),
    sa.Column("y_px", sa.Double),
    sa.Column("se_mm", sa.Double),
    sa.Column("diameter_mm", sa.Double),
    sa.Column("cut", sa.Text, nullable=False),
    sa.Column("confidence", sa.Double),
    sa.Column("state", sa.Text, nullable=False),
    sa.Column("head", sa.Text, nullable=False),
    sa.Column("arrow", sa.Text, nullable=False),
    sa.Column("removed", sa.Boolean, nullable=False),
    sa.Column("auto_shared_se_mm", sa.Double),
    sa.CheckConstraint("(auto_x_mm IS NULL) = (auto_y_mm IS NULL)", name="auto_pair"),
    sa.CheckConstraint("confidence BETWEEN 0 AND 1", name="confidence_range"),
)

# Two shots of one end may share a number only if one of them was taken out.
sa.Index(
    "uq_shot_live_number",
    shot.c.scan_id,
    shot.c.number,
    unique=True,
    sqlite_where=sa.text("NOT removed"),
    postgresql_where=sa.text("NOT removed"),
)
