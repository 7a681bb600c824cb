"""People, settings and what else the technician's desk keeps."""

import time

import sqlalchemy as sa
from alembic import op

from host.store.chain_link import NO_HEAD, LinkKind, content_of, head_of, sha256_of

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring a store of joined rigs up to the technician's desk."""
    _add_curves()
    _add_settings()
    _add_backups()
    _add_instrument_marks()
    _add_pictures()
    _let_runs_do_without_a_station()
    _add_people()
    _add_audit()
    _add_drafts()
    _add_chain()
    _add_classroom()


def _add_curves() -> None:
    op.create_table(
        "curves",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=40), nullable=False),
        sa.Column("toml", sa.Text(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("added_by", sa.Text(), nullable=False),
        sa.Column("added_utc_s", sa.Double(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("curves_by_name", "curves", ["name", "id"])
    op.create_index("curves_by_content", "curves", ["sha256"])


def _add_backups() -> None:
    op.create_table(
        "backups",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_utc_s", sa.Double(), nullable=False),
        sa.Column("file", sa.Text(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )


def _add_settings() -> None:
    op.create_table(
        "settings",
        sa.Column("name", sa.String(length=64), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("changed_utc_s", sa.Double(), nullable=False),
        sa.PrimaryKeyConstraint("name"),
    )


def _add_instrument_marks() -> None:
    op.create_table(
        "instrument_marks",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=32), nullable=False),
        sa.Column("serial", sa.String(length=64), nullable=False),
        sa.Column("mark", sa.String(length=16), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("by", sa.String(length=64), nullable=False),
        sa.Column("at_utc_s", sa.Double(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("instrument_marks_by_instrument", "instrument_marks", ["kind", "serial", "id"])


def _add_pictures() -> None:
    op.create_table(
        "pictures",
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("media_type", sa.String(length=32), nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=False),
        sa.Column("added_utc_s", sa.Double(), nullable=False),
        sa.PrimaryKeyConstraint("sha256"),
    )
    op.create_table(
        "picture_uses",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("purpose", sa.String(length=16), nullable=False),
        sa.Column("run", sa.Integer(), nullable=True),
        sa.Column("sha256", sa.String(length=64), nullable=True),
        sa.Column("by", sa.String(length=64), nullable=False),
        sa.Column("at_utc_s", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(["run"], ["runs.run"]),
        sa.ForeignKeyConstraint(["sha256"], ["pictures.sha256"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("picture_uses_by_purpose", "picture_uses", ["purpose", "run", "id"])


def _let_runs_do_without_a_station() -> None:
    with op.batch_alter_table("runs") as batch:
        batch.alter_column("station", existing_type=sa.String(length=32), nullable=True)


def _add_people() -> None:
    op.create_table(
        "accounts",
        sa.Column("account", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=64), nullable=False),
        sa.Column("name_key", sa.String(length=64), nullable=False),
        sa.Column("roles", sa.Text(), nullable=False),
        sa.Column("password", sa.Text(), nullable=True),
        sa.Column("disabled", sa.Boolean(), nullable=False),
        sa.Column("first_password", sa.Boolean(), nullable=False, server_default=sa.false()),
        sa.Column("group", sa.Text(), nullable=False, server_default=""),
        sa.Column("added_utc_s", sa.Double(), nullable=False),
        sa.PrimaryKeyConstraint("account"),
        sa.UniqueConstraint("name_key"),
    )
    op.create_table(
        "sessions",
        sa.Column("token_sha256", sa.String(length=64), nullable=False),
        sa.Column("account", sa.Integer(), nullable=False),
        sa.Column("begun_utc_s", sa.Double(), nullable=False),
        sa.Column("seen_utc_s", sa.Double(), nullable=False),
        sa.Column("pinned", sa.String(length=32), nullable=True),
        sa.ForeignKeyConstraint(["account"], ["accounts.account"]),
        sa.PrimaryKeyConstraint("token_sha256"),
    )
    op.create_index("sessions_by_account", "sessions", ["account"])
    op.create_table(
        "password_links",
        sa.Column("token_sha256", sa.String(length=64), nullable=False),
        sa.Column("account", sa.Integer(), nullable=False),
        sa.Column("until_utc_s", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(["account"], ["accounts.account"]),
        sa.PrimaryKeyConstraint("token_sha256"),
    )
    op.create_table(
        "sign_in_failures",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("counted_sha256", sa.String(length=64), nullable=False),
        sa.Column("utc_s", sa.Double(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("sign_in_failures_by_counted", "sign_in_failures", ["counted_sha256", "utc_s"])


def _add_audit() -> None:
    op.create_table(
        "audit",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("utc_s", sa.Double(), nullable=False),
        sa.Column("person", sa.String(length=64), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("deed", sa.String(length=64), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("number"),
    )
    _refuse_editing("audit")


def _refuse_editing(*tables: str) -> None:
    """Written once: not even a mistake of our own changes a row afterwards."""
    for table in tables:
        if op.get_bind().dialect.name == "postgresql":
            op.execute(
                f"CREATE TRIGGER {table}_refuse_editing BEFORE UPDATE OR DELETE ON {table} "
                "FOR EACH ROW EXECUTE FUNCTION refuse_editing()"
            )
            op.execute(
                f"CREATE TRIGGER {table}_refuse_emptying BEFORE TRUNCATE ON {table} "
                "FOR EACH STATEMENT EXECUTE FUNCTION refuse_editing()"
            )
            continue
        for change in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_refuse_{change.lower()} BEFORE {change} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{table} are appended, never edited'); END"
            )


def _add_drafts() -> None:
    op.create_table(
        "drafts",
        sa.Column("draft", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("run", sa.Integer(), nullable=False),
        sa.Column("made_utc_s", sa.Double(), nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("verdict", sa.String(length=32), nullable=False),
        sa.Column("canonical_json", sa.LargeBinary(), nullable=False),
        sa.Column("chart_svg", sa.LargeBinary(), nullable=False),
        sa.Column("supersedes", sa.String(length=32), nullable=True),
        sa.ForeignKeyConstraint(["run"], ["runs.run"]),
        sa.ForeignKeyConstraint(["supersedes"], ["certificates.number"]),
        sa.PrimaryKeyConstraint("draft"),
    )
    op.create_index("drafts_by_run", "drafts", ["run", "draft"])
    op.create_table(
        "draft_ends",
        sa.Column("draft", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("number", sa.String(length=32), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at_utc_s", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(["draft"], ["drafts.draft"]),
        sa.ForeignKeyConstraint(["number"], ["certificates.number"]),
        sa.PrimaryKeyConstraint("draft"),
    )
    _refuse_editing("drafts", "draft_ends")


def _add_classroom() -> None:
    op.create_table(
        "exercise_results",
        sa.Column("run", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("verdict", sa.String(length=32), nullable=False),
        sa.Column("canonical_json", sa.LargeBinary(), nullable=False),
        sa.Column("chart_svg", sa.LargeBinary(), nullable=False),
        sa.Column("kept_utc_s", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(["run"], ["runs.run"]),
        sa.PrimaryKeyConstraint("run"),
    )


def _add_chain() -> None:
    op.create_index("certificates_by_digest", "certificates", ["pdf_sha256"])
    op.create_table(
        "chain",
        sa.Column("link", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("number", sa.String(length=32), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("head", sa.String(length=64), nullable=False),
        sa.PrimaryKeyConstraint("link"),
        sa.UniqueConstraint("head"),
    )
    op.create_index("chain_by_number", "chain", ["number", "link"])
    _take_over_certificates()
    _refuse_editing("chain")


def _take_over_certificates() -> None:
    """Begin the chain with what was issued before there was one, in the order of the numbers."""
    connection = op.get_bind()
    at_utc_s = time.time()
    previous = NO_HEAD
    issued = sa.text(
        "SELECT number, run, verdict, canonical_json, pdf_sha256, chart_svg FROM certificates ORDER BY number"
    )
    for index, row in enumerate(connection.execute(issued).all(), start=1):
        content = content_of(
            index=index,
            previous=previous,
            kind=LinkKind.TAKEN_OVER,
            number=row.number,
            at_utc_s=at_utc_s,
            said={
                "run": row.run,
                "verdict": row.verdict,
                "pdf_sha256": row.pdf_sha256,
                "data_sha256": sha256_of(bytes(row.canonical_json)),
                "chart_sha256": sha256_of(bytes(row.chart_svg)),
            },
        )
        previous = head_of(content)
        connection.execute(
            sa.text("INSERT INTO chain (link, kind, number, content, head) VALUES (:l, :k, :n, :c, :h)"),
            {"l": index, "k": LinkKind.TAKEN_OVER.value, "n": row.number, "c": content, "h": previous},
        )
    connection.execute(
        sa.text("INSERT INTO counters (name, value) SELECT 'chain', count(*) FROM chain HAVING count(*) > 0")
    )


def downgrade() -> None:
    """Going back is done from the backup that every upgrade leaves behind."""
    raise NotImplementedError("restore the backup beside the store instead")
