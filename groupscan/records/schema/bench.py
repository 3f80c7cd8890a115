"""What was measured of a rig: speeds that a chronograph showed, and where the pins were set.

A measurement never changes: one that was mistyped is deleted and kept anew, so no revision.
"""

import sqlalchemy as sa

from groupscan.records.schema.base import identity, metadata, reference, stamps

__all__ = ["pin", "speed"]

# One row a reading. The setup is that of the day; speed and mass are told as read, the distance
# from the string to the chronograph beside them.
speed = sa.Table(
    "speed",
    metadata,
    *identity(),
    reference("rig_id", "rig", needed=True),
    reference("setup_id", "setup"),
    reference("build_id", "build"),
    sa.Column("taken_on", sa.Date, nullable=False),
    sa.Column("mass_g", sa.Double, nullable=False),
    sa.Column("speed_mps", sa.Double, nullable=False),
    sa.Column("distance_m", sa.Double),
    sa.Column("source", sa.Text, nullable=False, default=""),
    sa.Column("notes", sa.Text, nullable=False, default=""),
    *stamps(revised=False),
    sa.CheckConstraint("mass_g > 0", name="mass_g_positive"),
    sa.CheckConstraint("speed_mps > 0", name="speed_mps_positive"),
    sa.CheckConstraint("distance_m >= 0", name="distance_m_not_negative"),
)

# One row a pin, or a mark of a sight tape; those of one rig and day are one sight.
pin = sa.Table(
    "pin",
    metadata,
    *identity(),
    reference("rig_id", "rig", needed=True),
    reference("setup_id", "setup"),
    sa.Column("set_on", sa.Date, nullable=False),
    sa.Column("distance_m", sa.Double, nullable=False),
    sa.Column("below_mm", sa.Double),
    sa.Column("notes", sa.Text, nullable=False, default=""),
    *stamps(revised=False),
    sa.CheckConstraint("distance_m > 0", name="distance_m_positive"),
    sa.CheckConstraint("below_mm >= 0", name="below_mm_not_negative"),
)
