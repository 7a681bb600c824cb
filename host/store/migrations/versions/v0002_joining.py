"""What joining needs: a copied card is remembered, and which dead desk's word is written over."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the two columns."""
    with op.batch_alter_table("stations") as batch:
        batch.add_column(sa.Column("copied", sa.Text(), nullable=True))
        batch.add_column(sa.Column("replaces_store", sa.String(length=64), nullable=True))


def downgrade() -> None:
    """Going back is done from the backup that every upgrade leaves behind."""
    raise NotImplementedError("restore the backup beside the store instead")
