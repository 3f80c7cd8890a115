"""The first tables: photos, sessions, scans and shots.

Revision 0001, the first.
"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.create_table(
        "photo",
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("size_bytes", sa.BigInteger(), nullable=False),
        sa.Column("width_px", sa.Integer()),
        sa.Column("height_px", sa.Integer()),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("length(sha256) = 64", name=op.f("ck_photo_sha256_length")),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_photo")),
    )
    op.create_table(
        "session",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("held_on", sa.Date(), nullable=False),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("shooter", sa.Text(), nullable=False),
        sa.Column("rig", sa.Text(), nullable=False),
        sa.Column("distance_m", sa.Double()),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("deleted_at", sa.DateTime(timezone=True)),
        sa.CheckConstraint("distance_m > 0", name=op.f("ck_session_distance_positive")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_session")),
    )
    op.create_table(
        "scan",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column("photo_sha256", sa.String(64), nullable=False),
        sa.Column("photo_name", sa.Text(), nullable=False),
        sa.Column("width_px", sa.Integer(), nullable=False),
        sa.Column("height_px", sa.Integer(), nullable=False),
        sa.Column("sheet", sa.Text()),
        sa.Column("scale_source", sa.Text(), nullable=False),
        sa.Column("mm_per_px", sa.Double()),
        sa.Column("mm_per_px_se", sa.Double()),
        sa.Column("tilt_deg", sa.Double()),
        sa.Column("residual_px", sa.Double()),
        sa.Column("mm_to_px", sa.JSON(), nullable=False),
        sa.Column("lens", sa.JSON()),
        sa.Column("aim_x_mm", sa.Double(), nullable=False),
        sa.Column("aim_y_mm", sa.Double(), nullable=False),
        sa.Column("aims_mm", sa.JSON(), nullable=False),
        sa.Column("warnings", sa.JSON(), nullable=False),
        sa.Column("shaft_mm", sa.Double()),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("deleted_at", sa.DateTime(timezone=True)),
        sa.ForeignKeyConstraint(
            ["photo_sha256"], ["photo.sha256"], name=op.f("fk_scan_photo_sha256_photo")
        ),
        sa.ForeignKeyConstraint(
            ["session_id"], ["session.id"], name=op.f("fk_scan_session_id_session")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_scan")),
    )
    op.create_index(op.f("ix_scan_photo_sha256"), "scan", ["photo_sha256"])
    op.create_index(op.f("ix_scan_session_id"), "scan", ["session_id"])
    op.create_table(
        "shot",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("scan_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("auto_x_mm", sa.Double()),
        sa.Column("auto_y_mm", sa.Double()),
        sa.Column("auto_se_mm", sa.Double()),
        sa.Column("x_mm", sa.Double(), nullable=False),
        sa.Column("y_mm", sa.Double(), nullable=False),
        sa.Column("x_px", sa.Double()),
        sa.Column("y_px", sa.Double()),
        sa.Column("se_mm", sa.Double()),
        sa.Column("diameter_mm", sa.Double()),
        sa.Column("cut", sa.Text(), nullable=False),
        sa.Column("confidence", sa.Double()),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("head", sa.Text(), nullable=False),
        sa.Column("arrow", sa.Text(), nullable=False),
        sa.Column("removed", sa.Boolean(), nullable=False),
        sa.CheckConstraint(
            "(auto_x_mm IS NULL) = (auto_y_mm IS NULL)", name=op.f("ck_shot_auto_pair")
        ),
        sa.CheckConstraint("confidence BETWEEN 0 AND 1", name=op.f("ck_shot_confidence_range")),
        sa.ForeignKeyConstraint(
            ["scan_id"], ["scan.id"], name=op.f("fk_shot_scan_id_scan"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_shot")),
    )
    op.create_index(op.f("ix_shot_scan_id"), "shot", ["scan_id"])
    op.create_index(
        "uq_shot_live_number",
        "shot",
        ["scan_id", "number"],
        unique=True,
        sqlite_where=sa.text("NOT removed"),
        postgresql_where=sa.text("NOT removed"),
    )


def downgrade() -> None:
    """Step back."""
    op.drop_table("shot")
    op.drop_table("scan")
    op.drop_table("session")
    op.drop_table("photo")
