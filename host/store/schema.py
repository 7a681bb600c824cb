"""Tables of the store, as today's code sees them; `migrations` brings a file up to this."""

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Double,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    false,
)

metadata = MetaData()

# One row: who this store is. `n_reserved` is above every `n` ever published (protocol, rule 14).
identity = Table(
    "identity",
    metadata,
    Column("row", Integer, primary_key=True, autoincrement=False),
    Column("store", String(64), nullable=False),
    Column("epoch", Integer, nullable=False),
    Column("n_reserved", BigInteger, nullable=False),
)

# Numbers that must have no gaps are counted here, in the transaction that uses them.
counters = Table(
    "counters",
    metadata,
    Column("name", String(32), primary_key=True),
    Column("value", BigInteger, nullable=False),
)

# Each setting that was ever set, as the text that a person typed.
settings = Table(
    "settings",
    metadata,
    Column("name", String(64), primary_key=True),
    Column("text", Text, nullable=False),
    Column("changed_utc_s", Double, nullable=False),
)

# Backups that were made, so that the first page can remind.
backups = Table(
    "backups",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("made_utc_s", Double, nullable=False),
    Column("file", Text, nullable=False),
    Column("sha256", String(64), nullable=False),
)

stations = Table(
    "stations",
    metadata,
    Column("station", String(32), primary_key=True),
    Column("rig", String(64)),
    Column("added_utc_s", Double, nullable=False),
    # words, while two live boots speak under its rig's id: nothing of either counts until it is joined anew
    Column("copied", Text),
    # another desk's store that is gone for good, so that its last word on the topic is written over
    Column("replaces_store", String(64)),
)

packs = Table(
    "packs",
    metadata,
    Column("station", String(32), ForeignKey("stations.station"), primary_key=True),
    Column("boot", String(17), primary_key=True),
    Column("seq", BigInteger, primary_key=True, autoincrement=False),
    Column("rig", String(64), nullable=False),
    Column("payload", LargeBinary, nullable=False),
    Column("digest", String(64), nullable=False),
    Column("received_utc_s", Double, nullable=False),
    Column("rig_time_s", Double, nullable=False),
    Column("utc_s", Double),
    Column("simulated", Boolean, nullable=False),
    Column("decade_ohm", Double, nullable=False),
    Column("insertion", String(16), nullable=False),
    Column("range_ohm", Double, nullable=False),
)

gaps = Table(
    "gaps",
    metadata,
    Column("station", String(32), ForeignKey("stations.station"), primary_key=True),
    Column("boot", String(17), primary_key=True),
    Column("first", BigInteger, primary_key=True, autoincrement=False),
    Column("last", BigInteger, primary_key=True, autoincrement=False),
    Column("rig", String(64), nullable=False),
    Column("reason", String(32), nullable=False),
    Column("received_utc_s", Double, nullable=False),
)

# Messages kept aside with their reason. `accounts` tells whether its number counts as accounted for.
refused = Table(
    "refused",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("station", String(64), nullable=False),
    Column("known", Boolean, nullable=False),
    Column("kind", String(16), nullable=False),
    Column("boot", String(17)),
    Column("seq", BigInteger),
    Column("accounts", Boolean, nullable=False),
    Column("digest", String(64), nullable=False),
    Column("payload", LargeBinary),
    Column("reason", Text, nullable=False),
    Column("count", BigInteger, nullable=False),
    Column("first_utc_s", Double, nullable=False),
    Column("last_utc_s", Double, nullable=False),
    Index("refused_by_digest", "station", "digest"),
    Index("refused_by_key", "station", "boot", "seq"),
)

watermarks = Table(
    "watermarks",
    metadata,
    Column("station", String(32), ForeignKey("stations.station"), primary_key=True),
    Column("boot", String(17), primary_key=True),
    Column("w", BigInteger, nullable=False),
)

runs = Table(
    "runs",
    metadata,
    Column("run", Integer, primary_key=True, autoincrement=False),
    # none where a person reads and types: on the vehicle, or without a rig
    Column("station", String(32), ForeignKey("stations.station")),
    Column("kind", String(64), nullable=False),
    Column("settings", Text, nullable=False),
    Column("started_utc_s", Double, nullable=False),
    Column("ended_utc_s", Double),
)

events = Table(
    "events",
    metadata,
    Column("run", Integer, ForeignKey("runs.run"), primary_key=True, autoincrement=False),
    Column("index", Integer, primary_key=True, autoincrement=False),
    Column("kind", String(64), nullable=False),
    Column("payload", Text, nullable=False),
    Column("appended_utc_s", Double, nullable=False),
)

certificates = Table(
    "certificates",
    metadata,
    Column("number", String(32), primary_key=True),
    Column("run", Integer, ForeignKey("runs.run"), nullable=False),
    Column("issued_utc_s", Double, nullable=False),
    Column("verdict", String(32), nullable=False),
    Column("canonical_json", LargeBinary, nullable=False),
    Column("pdf", LargeBinary, nullable=False),
    Column("pdf_sha256", String(64), nullable=False),
    Column("chart_svg", LargeBinary, nullable=False),
    Index("certificates_by_digest", "pdf_sha256"),
)

# Certificates that wait to be authorised, and those that were sent back; a draft has no number.
drafts = Table(
    "drafts",
    metadata,
    Column("draft", Integer, primary_key=True, autoincrement=False),
    Column("run", Integer, ForeignKey("runs.run"), nullable=False),
    Column("made_utc_s", Double, nullable=False),
    Column("made_by", Text, nullable=False),
    Column("verdict", String(32), nullable=False),
    Column("canonical_json", LargeBinary, nullable=False),
    Column("chart_svg", LargeBinary, nullable=False),
    Column("supersedes", String(32), ForeignKey("certificates.number")),
    Index("drafts_by_run", "run", "draft"),
)

# How a draft ended: issued under a number, or sent back with a reason.
draft_ends = Table(
    "draft_ends",
    metadata,
    Column("draft", Integer, ForeignKey("drafts.draft"), primary_key=True, autoincrement=False),
    Column("number", String(32), ForeignKey("certificates.number")),
    Column("reason", Text, nullable=False),
    Column("by", Text, nullable=False),
    Column("at_utc_s", Double, nullable=False),
)

# Links of the chain of issued certificates; a head is the SHA-256 of its content, which names the one before.
chain = Table(
    "chain",
    metadata,
    Column("link", BigInteger, primary_key=True, autoincrement=False),
    Column("kind", String(16), nullable=False),
    Column("number", String(32), nullable=False),
    Column("content", Text, nullable=False),
    Column("head", String(64), nullable=False, unique=True),
    Index("chain_by_number", "number", "link"),
)

# Results of runs with a planted fault: kept as a certificate's data are, under no number and never on paper.
exercise_results = Table(
    "exercise_results",
    metadata,
    Column("run", Integer, ForeignKey("runs.run"), primary_key=True, autoincrement=False),
    Column("verdict", String(32), nullable=False),
    Column("canonical_json", LargeBinary, nullable=False),
    Column("chart_svg", LargeBinary, nullable=False),
    Column("kept_utc_s", Double, nullable=False),
)

instruments = Table(
    "instruments",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("kind", String(32), nullable=False),
    Column("serial", String(64), nullable=False),
    Column("content", Text, nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("due", String(10)),
    Column("added_utc_s", Double, nullable=False),
    Index("instruments_by_kind", "kind", "id"),
)

# What was decided about an instrument, with its reason; nothing is taken back, a later mark counts.
instrument_marks = Table(
    "instrument_marks",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("kind", String(32), nullable=False),
    Column("serial", String(64), nullable=False),
    Column("mark", String(16), nullable=False),  # failed, retired, in_use
    Column("reason", Text, nullable=False),
    Column("by", String(64), nullable=False),
    Column("at_utc_s", Double, nullable=False),
    Index("instrument_marks_by_instrument", "kind", "serial", "id"),
)

orders = Table(
    "orders",
    metadata,
    Column("order", String(36), primary_key=True),
    Column("station", String(32), ForeignKey("stations.station"), nullable=False),
    Column("boot", String(17), nullable=False),
    Column("run", String(32)),
    Column("not_after_s", Double, nullable=False),
    Column("do", String(32), nullable=False),
    Column("fields", Text, nullable=False),
    Column("sent_utc_s", Double, nullable=False),
    Column("state", String(16), nullable=False),  # open, withdrawn, or how the rig answered
    Column("reason", Text),
    Column("seq", BigInteger),
)

# Reference curves of the shop's own; the newest of a name counts, and nothing of the older ones is changed.
curves = Table(
    "curves",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", String(40), nullable=False),
    Column("toml", Text, nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("added_by", Text, nullable=False),
    Column("added_utc_s", Double, nullable=False),
    Index("curves_by_name", "name", "id"),
    Index("curves_by_content", "sha256"),
)

# Pictures that people bring along, drawn anew, by their content.
pictures = Table(
    "pictures",
    metadata,
    Column("sha256", String(64), primary_key=True),
    Column("media_type", String(32), nullable=False),
    Column("data", LargeBinary, nullable=False),
    Column("added_utc_s", Double, nullable=False),
)

# What a picture is for: the photo of a run's item, or the shop's own. The newest counts; none takes it away.
picture_uses = Table(
    "picture_uses",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("purpose", String(16), nullable=False),
    Column("run", Integer, ForeignKey("runs.run")),
    Column("sha256", String(64), ForeignKey("pictures.sha256")),
    Column("by", String(64), nullable=False),
    Column("at_utc_s", Double, nullable=False),
    Index("picture_uses_by_purpose", "purpose", "run", "id"),
)

accounts = Table(
    "accounts",
    metadata,
    Column("account", Integer, primary_key=True),
    Column("name", String(64), nullable=False),
    Column("name_key", String(64), nullable=False, unique=True),
    Column("roles", Text, nullable=False),
    Column("password", Text),  # an argon2 hash, with its parameters; none until the first one is chosen
    Column("disabled", Boolean, nullable=False),
    # true while the password is one that was handed out on a slip, and not yet the person's own
    Column("first_password", Boolean, nullable=False, server_default=false()),
    # class of a student, by its roster
    Column("group", Text, nullable=False, server_default=""),
    Column("added_utc_s", Double, nullable=False),
)

# Of tokens only digests are kept: a copied store signs nobody in.
sessions = Table(
    "sessions",
    metadata,
    Column("token_sha256", String(64), primary_key=True),
    Column("account", Integer, ForeignKey("accounts.account"), nullable=False),
    Column("begun_utc_s", Double, nullable=False),
    Column("seen_utc_s", Double, nullable=False),
    Column("pinned", String(32)),
    Index("sessions_by_account", "account"),
)

password_links = Table(
    "password_links",
    metadata,
    Column("token_sha256", String(64), primary_key=True),
    Column("account", Integer, ForeignKey("accounts.account"), nullable=False),
    Column("until_utc_s", Double, nullable=False),
)

# What was counted is a name as typed, known or not, or an address: a digest, as a password may be typed
# where the name belongs.
sign_in_failures = Table(
    "sign_in_failures",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("counted_sha256", String(64), nullable=False),
    Column("utc_s", Double, nullable=False),
    Index("sign_in_failures_by_counted", "counted_sha256", "utc_s"),
)

# Only ever added to.
audit = Table(
    "audit",
    metadata,
    Column("number", Integer, primary_key=True),
    Column("utc_s", Double, nullable=False),
    Column("person", String(64), nullable=False),
    Column("role", Text, nullable=False),
    Column("deed", String(64), nullable=False),
    Column("subject", Text, nullable=False),
)
