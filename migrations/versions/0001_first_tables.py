"""The first tables: the record of movements, readings, checks, bookings and orders, and what keeps them."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

KEPT = (
    "entry",
    "booking",
    "breach",
    "day_exception",
    "lot",
    "place",
    "practice_version",
    "promise",
    "remembered",
    "reversal",
    "supply_order",
    "booking_change",
    "booking_link",
    "excursion",
    "explained",
    "fridge_duty",
    "hand_check",
    "hold",
    "lot_expiry",
    "movement",
    "order_change",
    "order_line",
    "pull",
    "reading",
    "reading_conflict",
    "release",
    "decision",
)
"""Tables whose rows are only ever added."""

NUMBERED = ("entry", "booking", "supply_order", "excursion", "pull")
"""Those whose key is a number that people write (R-12, B-7, E-3, O-1, P-5)."""


def upgrade() -> None:
    tables()
    indexes()
    keep()


def _entry(*, index: bool = True) -> sa.Column[int]:
    return sa.Column(
        "entry",
        sa.Integer,
        sa.ForeignKey("entry.n", deferrable=True, initially="DEFERRED"),
        nullable=False,
        index=index,
    )


def tables() -> None:
    op.create_table(
        "head",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("entries", sa.Integer, nullable=False),
        sa.Column("bookings", sa.Integer, nullable=False),
        sa.Column("excursions", sa.Integer, nullable=False),
        sa.Column("orders", sa.Integer, nullable=False),
        sa.Column("pulls", sa.Integer, nullable=False),
        sa.Column("hash", sa.Text, nullable=False),
    )
    op.create_table(
        "entry",
        sa.Column("n", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("recorded_at", sa.BigInteger, nullable=False),
        sa.Column("by", sa.Text, nullable=False),
        sa.Column("site", sa.Text, nullable=False),
        sa.Column("what", sa.Text, nullable=False),
        sa.Column("body_hash", sa.Text, nullable=False),
        sa.Column("before_hash", sa.Text, nullable=False),
        sa.Column("hash", sa.Text, nullable=False),
    )
    op.create_table(
        "booking",
        sa.Column("n", sa.Integer, primary_key=True, autoincrement=False),
        _entry(),
        sa.Column("site", sa.Text, nullable=False),
    )
    op.create_table(
        "breach",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        _entry(),
        sa.Column("slug", sa.Text, nullable=False),
        sa.Column("what", sa.Text, nullable=False),
    )
    op.create_table(
        "day_exception",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        _entry(),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("site", sa.Text, nullable=False),
        sa.Column("day", sa.Text, nullable=False),
        sa.Column("open", sa.Boolean, nullable=False),
        sa.Column("from_minute", sa.Integer, nullable=False),
        sa.Column("to_minute", sa.Integer, nullable=False),
        sa.Column("why", sa.Text),
    )
    op.create_table(
        "lot",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        _entry(),
        sa.Column("product", sa.Text, nullable=False),
        sa.Column("code", sa.Text, nullable=False),
        sa.UniqueConstraint("product", "code"),
    )
    op.create_table(
        "place",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        _entry(),
        sa.Column("name", sa.Text, nullable=False, unique=True),
        sa.Column("kind", sa.Text, nullable=False),
    )
    op.create_table(
        "practice_version",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        _entry(),
        sa.Column("valid_from", sa.BigInteger),
        sa.Column("text", sa.Text, nullable=False),
    )
    op.create_table(
        "promise",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        _entry(),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("pull", sa.Integer, nullable=False),
        sa.Column("booking", sa.Integer),
    )
    op.create_table(
        "remembered",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        _entry(),
        sa.Column("subject", sa.Text, nullable=False),
        sa.Column("text", sa.Text, nullable=False),
    )
    op.create_table(
        "reversal",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        _entry(),
        sa.Column("reverses", sa.Integer, nullable=False, unique=True),
        sa.Column("why", sa.Text),
    )
    op.create_table(
        "supply_order",
        sa.Column("n", sa.Integer, primary_key=True, autoincrement=False),
        _entry(),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("supplier", sa.Text, nullable=False),
        sa.Column("site", sa.Text, nullable=False),
        sa.Column("due", sa.BigInteger, nullable=False),
    )
    op.create_table(
        "booking_change",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        _entry(),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("booking", sa.Integer, sa.ForeignKey("booking.n"), nullable=False, index=True),
        sa.Column("state", sa.Text, nullable=False),
        sa.Column("procedure", sa.Text, nullable=False),
        sa.Column("start", sa.BigInteger, nullable=False),
        sa.Column("patient", sa.Text, nullable=False),
        sa.Column("cycles", sa.Integer),
        sa.Column("cycles_done", sa.Integer),
        sa.Column("outcome", sa.Text),
        sa.Column("sequence", sa.Integer),
        sa.Column("why", sa.Text),
    )
    op.create_table(
        "booking_link",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        _entry(),
        sa.Column("booking", sa.Integer, sa.ForeignKey("booking.n"), nullable=False),
        sa.Column("external_id", sa.Text, nullable=False, index=True),
    )
    op.create_table(
        "excursion",
        sa.Column("n", sa.Integer, primary_key=True, autoincrement=False),
        _entry(),
        sa.Column("fridge", sa.Integer, sa.ForeignKey("place.id"), nullable=False, index=True),
        sa.Column("source", sa.Text, nullable=False),
        sa.Column("direction", sa.Text),
        sa.Column("limit_milli", sa.Integer),
        sa.Column("anchor_at", sa.BigInteger, nullable=False),
    )
    op.create_table(
        "explained",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        _entry(),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("fridge", sa.Integer, sa.ForeignKey("place.id"), nullable=False),
        sa.Column("day", sa.Text, nullable=False),
        sa.Column("why", sa.Text, nullable=False),
    )
    op.create_table(
        "fridge_duty",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        _entry(),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("fridge", sa.Integer, sa.ForeignKey("place.id"), nullable=False),
        sa.Column("on", sa.Boolean, nullable=False),
        sa.Column("why", sa.Text),
    )
    op.create_table(
        "hand_check",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        _entry(),
        sa.Column("fridge", sa.Integer, sa.ForeignKey("place.id"), nullable=False),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("milli", sa.Integer, nullable=False),
        sa.Column("low", sa.Integer),
        sa.Column("high", sa.Integer),
        sa.Column("doubtful", sa.Boolean, nullable=False),
        sa.Column("note", sa.Text),
    )
    op.create_table(
        "hold",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        _entry(),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("lot", sa.Integer, sa.ForeignKey("lot.id"), nullable=False, index=True),
        sa.Column("place", sa.Integer, sa.ForeignKey("place.id"), nullable=False),
        sa.Column("quantity", sa.Integer, nullable=False),
        sa.Column("cause", sa.Text, nullable=False),
        sa.Column("why", sa.Text),
    )
    op.create_table(
        "lot_expiry",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        _entry(),
        sa.Column("lot", sa.Integer, sa.ForeignKey("lot.id"), nullable=False),
        sa.Column("expiry", sa.Text),
    )
    op.create_table(
        "movement",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        _entry(),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("lot", sa.Integer, sa.ForeignKey("lot.id"), nullable=False),
        sa.Column("quantity", sa.Integer, nullable=False),
        sa.Column("source", sa.Integer, sa.ForeignKey("place.id"), nullable=False),
        sa.Column("target", sa.Integer, sa.ForeignKey("place.id"), nullable=False),
        sa.Column("prefer", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("booking", sa.Integer),
        sa.Column("supply_order", sa.Integer),
        sa.Column("why", sa.Text),
    )
    op.create_table(
        "order_change",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        _entry(),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("supply_order", sa.Integer, sa.ForeignKey("supply_order.n"), nullable=False, index=True),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("due", sa.BigInteger),
        sa.Column("why", sa.Text),
    )
    op.create_table(
        "order_line",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        _entry(),
        sa.Column("supply_order", sa.Integer, sa.ForeignKey("supply_order.n"), nullable=False, index=True),
        sa.Column("product", sa.Text, nullable=False),
        sa.Column("quantity", sa.Integer, nullable=False),
        sa.Column("proposed", sa.Integer),
        sa.Column("pack_price", sa.Integer),
        sa.Column("why", sa.Text),
    )
    op.create_table(
        "pull",
        sa.Column("n", sa.Integer, primary_key=True, autoincrement=False),
        _entry(),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("lot", sa.Integer, sa.ForeignKey("lot.id"), nullable=False),
        sa.Column("source", sa.Integer, sa.ForeignKey("place.id"), nullable=False),
        sa.Column("prior", sa.Integer),
    )
    op.create_table(
        "reading",
        sa.Column("fridge", sa.Integer, sa.ForeignKey("place.id"), nullable=False),
        sa.Column("at", sa.BigInteger, nullable=False),
        _entry(),
        sa.Column("milli", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("fridge", "at", "entry"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "reading_conflict",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        _entry(),
        sa.Column("fridge", sa.Integer, sa.ForeignKey("place.id"), nullable=False),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("kept_milli", sa.Integer, nullable=False),
        sa.Column("other_milli", sa.Integer, nullable=False),
        sa.Column("line", sa.Integer, nullable=False),
    )
    op.create_table(
        "release",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        _entry(),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("lot", sa.Integer, sa.ForeignKey("lot.id"), nullable=False, index=True),
        sa.Column("place", sa.Integer, sa.ForeignKey("place.id"), nullable=False),
        sa.Column("quantity", sa.Integer, nullable=False),
        sa.Column("causes", sa.Text, nullable=False),
        sa.Column("why", sa.Text),
        sa.Column("answer", sa.Text),
    )
    op.create_table(
        "decision",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        _entry(),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("excursion", sa.Integer, sa.ForeignKey("excursion.n"), nullable=False, index=True),
        sa.Column("verdict", sa.Text, nullable=False),
        sa.Column("figures", sa.Text, nullable=False),
        sa.Column("why", sa.Text, nullable=False),
        sa.Column("answer", sa.Text),
    )
    op.execute(
        sa.text(
            "INSERT INTO head (id, entries, bookings, excursions, orders, pulls, hash) VALUES (1,0,0,0,0,0,:genesis)"
        ).bindparams(genesis="0" * 64)
    )


def indexes() -> None:
    op.create_index("ix_hand_check_fridge_at", "hand_check", ["fridge", "at"])
    op.create_index("ix_movement_lot_at", "movement", ["lot", "at"])


def keep() -> None:
    """The database itself refuses to change or take away a record."""
    if op.get_bind().dialect.name == "postgresql":
        keep_on_postgresql()
    else:
        keep_on_sqlite()


def keep_on_sqlite() -> None:
    said = "SELECT RAISE(ABORT, 'records are only added')"
    for table in KEPT:
        key = "n" if table in NUMBERED else "id"
        same = (
            "fridge = NEW.fridge AND at = NEW.at AND entry = NEW.entry" if table == "reading" else f"{key} = NEW.{key}"
        )
        op.execute(f'CREATE TRIGGER "{table}_no_update" BEFORE UPDATE ON "{table}" BEGIN {said}; END')
        op.execute(f'CREATE TRIGGER "{table}_no_delete" BEFORE DELETE ON "{table}" BEGIN {said}; END')
        # INSERT OR REPLACE takes the old row away without a DELETE trigger unless a connection asks for it.
        op.execute(
            f'CREATE TRIGGER "{table}_no_replace" BEFORE INSERT ON "{table}" '
            f'WHEN EXISTS (SELECT 1 FROM "{table}" WHERE {same}) BEGIN {said}; END'
        )
    op.execute(f"CREATE TRIGGER head_no_delete BEFORE DELETE ON head BEGIN {said}; END")
    op.execute(f"CREATE TRIGGER head_one_row BEFORE INSERT ON head BEGIN {said}; END")
    op.execute(
        f"CREATE TRIGGER head_goes_forward BEFORE UPDATE ON head WHEN NEW.entries <= OLD.entries BEGIN {said}; END"
    )


def keep_on_postgresql() -> None:
    op.execute(
        "CREATE FUNCTION records_are_only_added() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION 'records are only added'; END $$"
    )
    for table in KEPT:
        op.execute(
            f'CREATE TRIGGER "{table}_kept" BEFORE UPDATE OR DELETE ON "{table}" '
            "FOR EACH ROW EXECUTE FUNCTION records_are_only_added()"
        )
        op.execute(
            f'CREATE TRIGGER "{table}_not_emptied" BEFORE TRUNCATE ON "{table}" '
            "FOR EACH STATEMENT EXECUTE FUNCTION records_are_only_added()"
        )
    op.execute(
        "CREATE TRIGGER head_kept BEFORE INSERT OR DELETE ON head FOR EACH ROW EXECUTE FUNCTION records_are_only_added()"
    )
    op.execute(
        "CREATE TRIGGER head_goes_forward BEFORE UPDATE ON head FOR EACH ROW "
        "WHEN (NEW.entries <= OLD.entries) EXECUTE FUNCTION records_are_only_added()"
    )
