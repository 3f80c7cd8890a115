"""Who shoots, and with what: shooters, rigs with their setups, builds, arrows and heads.

Lengths in mm, masses in g, forces in N. What is not known is NULL, text that is not said is empty.
"""

import sqlalchemy as sa

from groupscan.records.schema.base import identity, metadata, reference, stamps

__all__ = ["arrow", "build", "head", "rig", "setup", "shooter"]


def _text(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.Text, nullable=False, default="")


def _positive(*names: str) -> list[sa.CheckConstraint]:
    return [sa.CheckConstraint(f"{name} > 0", name=f"{name}_positive") for name in names]


def _not_negative(*names: str) -> list[sa.CheckConstraint]:
    return [sa.CheckConstraint(f"{name} >= 0", name=f"{name}_not_negative") for name in names]


shooter = sa.Table(
    "shooter",
    metadata,
    *identity(),
    sa.Column("name", sa.Text, nullable=False),
    _text("hand"),
    reference("coach_id", "shooter"),
    _text("goals"),
    _text("notes"),
    *stamps(),
    sa.CheckConstraint("coach_id <> id", name="coach_is_another"),
)

rig = sa.Table(
    "rig",
    metadata,
    *identity(),
    reference("shooter_id", "shooter"),
    sa.Column("name", sa.Text, nullable=False),
    _text("bow"),
    _text("hand"),
    _text("notes"),
    *stamps(),
)

build = sa.Table(
    "build",
    metadata,
    *identity(),
    reference("shooter_id", "shooter"),
    sa.Column("name", sa.Text, nullable=False),
    _text("shaft"),
    sa.Column("shaft_mm", sa.Double),
    sa.Column("length_mm", sa.Double),
    sa.Column("spine", sa.Double),
    sa.Column("shaft_g_per_m", sa.Double),
    _text("insert"),
    sa.Column("insert_g", sa.Double),
    sa.Column("collar_g", sa.Double),
    sa.Column("point_g", sa.Double),
    _text("fletching"),
    sa.Column("fletching_g", sa.Double),
    sa.Column("wrap_g", sa.Double),
    _text("nock"),
    sa.Column("nock_g", sa.Double),
    sa.Column("mass_g", sa.Double),
    sa.Column("balance_mm", sa.Double),
    _text("notes"),
    *stamps(),
    *_positive("shaft_mm", "length_mm", "spine", "shaft_g_per_m", "mass_g", "balance_mm"),
    *_not_negative("insert_g", "collar_g", "point_g", "fletching_g", "wrap_g", "nock_g"),
)

# A change of the rig is a new row; an old one never changes, so no revision.
setup = sa.Table(
    "setup",
    metadata,
    *identity(),
    reference("rig_id", "rig", needed=True),
    sa.Column("since", sa.Date, nullable=False),
    _text("changed"),
    sa.Column("draw_weight_n", sa.Double),
    sa.Column("draw_length_mm", sa.Double),
    sa.Column("sight_radius_mm", sa.Double),
    sa.Column("peep_height_mm", sa.Double),
    reference("build_id", "build"),
    _text("rest"),
    _text("sight"),
    _text("notes"),
    *stamps(revised=False),
    *_positive("draw_weight_n", "draw_length_mm", "sight_radius_mm", "peep_height_mm"),
)

# The same shaft built anew is a new row that names the first one, so that each shot keeps the
# build it was shot with and the arrow still has one history.
arrow = sa.Table(
    "arrow",
    metadata,
    *identity(),
    reference("shooter_id", "shooter"),
    reference("build_id", "build"),
    reference("first_id", "arrow"),
    sa.Column("number", sa.Text, nullable=False),
    sa.Column("state", sa.Text, nullable=False, default="in use"),
    sa.Column("state_since", sa.Date),
    _text("state_why"),
    sa.Column("mass_g", sa.Double),
    _text("notes"),
    *stamps(),
    *_positive("mass_g"),
)

head = sa.Table(
    "head",
    metadata,
    *identity(),
    sa.Column("name", sa.Text, nullable=False),
    _text("kind"),
    sa.Column("blades", sa.Integer),
    sa.Column("cut_mm", sa.Double),
    sa.Column("mass_g", sa.Double),
    _text("notes"),
    *stamps(),
    *_positive("cut_mm", "mass_g"),
)
