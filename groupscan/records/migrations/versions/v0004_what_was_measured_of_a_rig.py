"""What was measured of a rig: chronograph readings, and the pins of its sight.

Revision 0004, after 0003. Stepping back takes both tables away with all that they hold.
"""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.create_table(
        "speed",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("rig_id", sa.Integer(), nullable=False),
        sa.Column("setup_id", sa.Integer()),
        sa.Column("build_id", sa.Integer()),
        sa.Column("taken_on", sa.Date(), nullable=False),
        sa.Column("mass_g", sa.Double(), nullable=False),
        sa.Column("speed_mps", sa.Double(), nullable=False),
        sa.Column("distance_m", sa.Double()),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("deleted_at", sa.DateTime(timezone=True)),
        sa.CheckConstraint("mass_g > 0", name=op.f("ck_speed_mass_g_positive")),
        sa.CheckConstraint("speed_mps > 0", name=op.f("ck_speed_speed_mps_positive")),
        sa.CheckConstraint("distance_m >= 0", name=op.f("ck_speed_distance_m_not_negative")),
        sa.ForeignKeyConstraint(["build_id"], ["build.id"], name=op.f("fk_speed_build_id_build")),
        sa.ForeignKeyConstraint(["rig_id"], ["rig.id"], name=op.f("fk_speed_rig_id_rig")),
        sa.ForeignKeyConstraint(["setup_id"], ["setup.id"], name=op.f("fk_speed_setup_id_setup")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_speed")),
        sa.UniqueConstraint("uid", name=op.f("uq_speed_uid")),
    )
    for column in ("build_id", "rig_id", "setup_id"):
        op.create_index(op.f(f"ix_speed_{column}"), "speed", [column])
    op.create_table(
        "pin",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("rig_id", sa.Integer(), nullable=False),
        sa.Column("setup_id", sa.Integer()),
        sa.Column("set_on", sa.Date(), nullable=False),
        sa.Column("distance_m", sa.Double(), nullable=False),
        sa.Column("below_mm", sa.Double()),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("deleted_at", sa.DateTime(timezone=True)),
        sa.CheckConstraint("distance_m > 0", name=op.f("ck_pin_distance_m_positive")),
        sa.CheckConstraint("below_mm >= 0", name=op.f("ck_pin_below_mm_not_negative")),
        sa.ForeignKeyConstraint(["rig_id"], ["rig.id"], name=op.f("fk_pin_rig_id_rig")),
        sa.ForeignKeyConstraint(["setup_id"], ["setup.id"], name=op.f("fk_pin_setup_id_setup")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pin")),
        sa.UniqueConstraint("uid", name=op.f("uq_pin_uid")),
    )
    for column in ("rig_id", "setup_id"):
        op.create_index(op.f(f"ix_pin_{column}"), "pin", [column])


def downgrade() -> None:
    """Step back."""
    op.drop_table("pin")
    op.drop_table("speed")
