"""What was shot: photos, sessions, their ends and the shots.

The row of an end is called ``scan``, since END is a word of SQL's own; one that was typed and not
photographed has no photo and no matrix.
"""

import sqlalchemy as sa

from groupscan.records.schema.base import UtcDateTime, identity, metadata, reference, stamps

__all__ = ["photo", "scan", "session", "shot"]

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
    *identity(),
    sa.Column("held_on", sa.Date, nullable=False),
    sa.Column("place", sa.Text, nullable=False),
    reference("shooter_id", "shooter"),
    reference("rig_id", "rig"),
    reference("setup_id", "setup"),
    reference("build_id", "build"),
    sa.Column("distance_m", sa.Double),
    sa.Column("purpose", sa.Text, nullable=False),
    sa.Column("weather", sa.Text, nullable=False),
    sa.Column("temperature_c", sa.Double),
    sa.Column("pressure_pa", sa.Double),
    sa.Column("humidity", sa.Double),
    sa.Column("wind_m_s", sa.Double),
    sa.Column("plan", sa.JSON(none_as_null=True)),
    sa.Column("notes", sa.Text, nullable=False),
    *stamps(),
    sa.CheckConstraint("distance_m > 0", name="distance_positive"),
    sa.CheckConstraint("temperature_c > -273.15", name="temperature_possible"),
    sa.CheckConstraint("pressure_pa > 0", name="pressure_positive"),
    sa.CheckConstraint("humidity BETWEEN 0 AND 1", name="humidity_range"),
    sa.CheckConstraint("wind_m_s >= 0", name="wind_not_negative"),
)
sa.Index("ix_session_held_on", session.c.held_on)

scan = sa.Table(
    "scan",
    metadata,
    *identity(),
    reference("session_id", "session", needed=True),
    sa.Column("label", sa.Text, nullable=False),
    sa.Column("photo_sha256", sa.ForeignKey("photo.sha256"), index=True),
    sa.Column("photo_name", sa.Text, nullable=False),
    sa.Column("width_px", sa.Integer),
    sa.Column("height_px", sa.Integer),
    sa.Column("sheet", sa.Text),
    sa.Column("scale_source", sa.Text, nullable=False),
    sa.Column("mm_per_px", sa.Double),
    sa.Column("mm_per_px_se", sa.Double),
    sa.Column("tilt_deg", sa.Double),
    sa.Column("residual_px", sa.Double),
    sa.Column("mm_to_px", sa.JSON(none_as_null=True)),
    sa.Column("lens", sa.JSON(none_as_null=True)),
    sa.Column("bend", sa.JSON(none_as_null=True)),
    sa.Column("aim_x_mm", sa.Double, nullable=False),
    sa.Column("aim_y_mm", sa.Double, nullable=False),
    sa.Column("aims_mm", sa.JSON, nullable=False),
    sa.Column("warnings", sa.JSON, nullable=False),
    sa.Column("shaft_mm", sa.Double),
    *stamps(),
    sa.CheckConstraint(
        "(photo_sha256 IS NULL) = (mm_to_px IS NULL) AND (photo_sha256 IS NULL) = "
        "(width_px IS NULL) AND (photo_sha256 IS NULL) = (height_px IS NULL)",
        name="photo_whole",
    ),
)

shot = sa.Table(
    "shot",
    metadata,
    *identity(),
    reference("scan_id", "scan", needed=True, ondelete="CASCADE"),
    sa.Column("number", sa.Integer, nullable=False),
    sa.Column("shot_order", sa.Integer),
    sa.Column("auto_x_mm", sa.Double),
    sa.Column("auto_y_mm", sa.Double),
    sa.Column("auto_se_mm", sa.Double),
    sa.Column("auto_shared_se_mm", sa.Double),
    sa.Column("x_mm", sa.Double, nullable=False),
    sa.Column("y_mm", sa.Double, nullable=False),
    sa.Column("x_px", sa.Double),
    sa.Column("y_px", sa.Double),
    sa.Column("se_mm", sa.Double),
    sa.Column("diameter_mm", sa.Double),
    sa.Column("cut", sa.Text, nullable=False),
    sa.Column("confidence", sa.Double),
    sa.Column("state", sa.Text, nullable=False),
    reference("head_id", "head"),
    reference("arrow_id", "arrow"),
    sa.Column("flyer", sa.Boolean, nullable=False),
    sa.Column("flyer_why", sa.Text, nullable=False),
    sa.Column("removed", sa.Boolean, nullable=False),
    sa.CheckConstraint("(auto_x_mm IS NULL) = (auto_y_mm IS NULL)", name="auto_pair"),
    sa.CheckConstraint("confidence BETWEEN 0 AND 1", name="confidence_range"),
    sa.CheckConstraint("shot_order > 0", name="order_positive"),
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
