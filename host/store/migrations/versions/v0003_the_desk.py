"""People, settings and what else the technician's desk keeps."""

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring a store of joined rigs up to the technician's desk."""


def downgrade() -> None:
    """Going back is done from the backup that every upgrade leaves behind."""
    raise NotImplementedError("restore the backup beside the store instead")
