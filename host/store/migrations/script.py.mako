"""${message}"""

import sqlalchemy as sa
from alembic import op

revision = ${repr(up_revision)}
down_revision = ${repr(down_revision)}
branch_labels = None
depends_on = None


def upgrade() -> None:
    """${message}"""
    ${upgrades if upgrades else "pass"}


def downgrade() -> None:
    """Going back is done from the backup that every upgrade leaves behind."""
    raise NotImplementedError("restore the backup beside the store instead")
