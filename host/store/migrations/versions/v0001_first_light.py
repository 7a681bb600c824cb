"""Tables of the first light: stations, readings, runs, certificates, register, orders."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Create the tables and what keeps them append-only."""
    op.create_table(
        "counters",
        sa.Column("name", sa.String(length=32), nullable=False),
        sa.Column("value", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("name"),
    )
    op.create_table(
        "identity",
        sa.Column("row", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("store", sa.String(length=64), nullable=False),
        sa.Column("epoch", sa.Integer(), nullable=False),
        sa.Column("n_reserved", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("row"),
    )
    op.create_table(
        "instruments",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=32), nullable=False),
        sa.Column("serial", sa.String(length=64), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("due", sa.String(length=10), nullable=True),
        sa.Column("added_utc_s", sa.Double(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("instruments_by_kind", "instruments", ["kind", "id"], unique=False)

    op.create_table(
        "refused",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("station", sa.String(length=64), nullable=False),
        sa.Column("known", sa.Boolean(), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("boot", sa.String(length=17), nullable=True),
        sa.Column("seq", sa.BigInteger(), nullable=True),
        sa.Column("accounts", sa.Boolean(), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("payload", sa.LargeBinary(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("count", sa.BigInteger(), nullable=False),
        sa.Column("first_utc_s", sa.Double(), nullable=False),
        sa.Column("last_utc_s", sa.Double(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("refused_by_digest", "refused", ["station", "digest"], unique=False)
    op.create_index("refused_by_key", "refused", ["station", "boot", "seq"], unique=False)

    op.create_table(
        "stations",
        sa.Column("station", sa.String(length=32), nullable=False),
        sa.Column("rig", sa.String(length=64), nullable=True),
        sa.Column("added_utc_s", sa.Double(), nullable=False),
        sa.PrimaryKeyConstraint("station"),
    )
    op.create_table(
        "gaps",
        sa.Column("station", sa.String(length=32), nullable=False),
        sa.Column("boot", sa.String(length=17), nullable=False),
        sa.Column("first", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("last", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("rig", sa.String(length=64), nullable=False),
        sa.Column("reason", sa.String(length=32), nullable=False),
        sa.Column("received_utc_s", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(
            ["station"],
            ["stations.station"],
        ),
        sa.PrimaryKeyConstraint("station", "boot", "first", "last"),
    )
    op.create_table(
        "orders",
        sa.Column("order", sa.String(length=36), nullable=False),
        sa.Column("station", sa.String(length=32), nullable=False),
        sa.Column("boot", sa.String(length=17), nullable=False),
        sa.Column("run", sa.String(length=32), nullable=True),
        sa.Column("not_after_s", sa.Double(), nullable=False),
        sa.Column("do", sa.String(length=32), nullable=False),
        sa.Column("fields", sa.Text(), nullable=False),
        sa.Column("sent_utc_s", sa.Double(), nullable=False),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.Column("seq", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(
            ["station"],
            ["stations.station"],
        ),
        sa.PrimaryKeyConstraint("order"),
    )
    op.create_table(
        "packs",
        sa.Column("station", sa.String(length=32), nullable=False),
        sa.Column("boot", sa.String(length=17), nullable=False),
        sa.Column("seq", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("rig", sa.String(length=64), nullable=False),
        sa.Column("payload", sa.LargeBinary(), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("received_utc_s", sa.Double(), nullable=False),
        sa.Column("rig_time_s", sa.Double(), nullable=False),
        sa.Column("utc_s", sa.Double(), nullable=True),
        sa.Column("simulated", sa.Boolean(), nullable=False),
        sa.Column("decade_ohm", sa.Double(), nullable=False),
        sa.Column("insertion", sa.String(length=16), nullable=False),
        sa.Column("range_ohm", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(
            ["station"],
            ["stations.station"],
        ),
        sa.PrimaryKeyConstraint("station", "boot", "seq"),
    )
    op.create_table(
        "runs",
        sa.Column("run", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("station", sa.String(length=32), nullable=False),
        sa.Column("kind", sa.String(length=64), nullable=False),
        sa.Column("settings", sa.Text(), nullable=False),
        sa.Column("started_utc_s", sa.Double(), nullable=False),
        sa.Column("ended_utc_s", sa.Double(), nullable=True),
        sa.ForeignKeyConstraint(
            ["station"],
            ["stations.station"],
        ),
        sa.PrimaryKeyConstraint("run"),
    )
    op.create_table(
        "watermarks",
        sa.Column("station", sa.String(length=32), nullable=False),
        sa.Column("boot", sa.String(length=17), nullable=False),
        sa.Column("w", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["station"],
            ["stations.station"],
        ),
        sa.PrimaryKeyConstraint("station", "boot"),
    )
    op.create_table(
        "certificates",
        sa.Column("number", sa.String(length=32), nullable=False),
        sa.Column("run", sa.Integer(), nullable=False),
        sa.Column("issued_utc_s", sa.Double(), nullable=False),
        sa.Column("verdict", sa.String(length=32), nullable=False),
        sa.Column("canonical_json", sa.LargeBinary(), nullable=False),
        sa.Column("pdf", sa.LargeBinary(), nullable=False),
        sa.Column("pdf_sha256", sa.String(length=64), nullable=False),
        sa.Column("chart_svg", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["run"],
            ["runs.run"],
        ),
        sa.PrimaryKeyConstraint("number"),
    )
    op.create_table(
        "events",
        sa.Column("run", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("index", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.String(length=64), nullable=False),
        sa.Column("payload", sa.Text(), nullable=False),
        sa.Column("appended_utc_s", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(
            ["run"],
            ["runs.run"],
        ),
        sa.PrimaryKeyConstraint("run", "index"),
    )
    _keep_append_only()


def _keep_append_only() -> None:
    # What was decided in a run and what was issued is never edited, not even by a mistake in this program.
    if op.get_bind().dialect.name == "postgresql":
        _keep_append_only_on_postgresql()
        return
    for table in ("events", "certificates"):
        for deed in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_refuse_{deed.lower()} BEFORE {deed} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{table} are appended, never edited'); END"
            )


def _keep_append_only_on_postgresql() -> None:
    op.execute(
        "CREATE FUNCTION refuse_editing() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION '% are appended, never edited', TG_TABLE_NAME; END $$"
    )
    for table in ("events", "certificates"):
        op.execute(
            f"CREATE TRIGGER {table}_refuse_editing BEFORE UPDATE OR DELETE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION refuse_editing()"
        )


def downgrade() -> None:
    """Going back is done from the backup that every upgrade leaves behind."""
    raise NotImplementedError("restore the backup beside the store instead")
