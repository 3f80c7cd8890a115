"""How the sheet bends in a photo, and the part of a shot's error that its photo's shots share.

Revision 0002, after 0001. Scans of before keep none of either: their sheets count as flat, and
their shots' errors as their own.
"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.add_column("scan", sa.Column("bend", sa.JSON()))
    op.add_column("shot", sa.Column("auto_shared_se_mm", sa.Double()))


def downgrade() -> None:
    """Step back."""
    op.drop_column("shot", "auto_shared_se_mm")
    op.drop_column("scan", "bend")
