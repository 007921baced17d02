"""The tables (docs/schema.md explains each column). Records are added and never changed.

Instants are whole UTC seconds, temperatures thousandths of °C, days ISO text, money whole hundredths.
Every record names its entry; an entry named in ``reversal`` counts as if it had never been.
"""

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    PrimaryKeyConstraint,
    Table,
    Text,
    UniqueConstraint,
    text,
)

REVISION = "0003"
"""The database revision that this program reads and writes."""

meta = MetaData()


def _key() -> Column[int]:
    return Column("id", Integer, primary_key=True, autoincrement=False)


def _entry() -> Column[int]:
    return Column(
        "entry",
        Integer,
        ForeignKey("entry.n", deferrable=True, initially="DEFERRED"),
        nullable=False,
        index=True,
    )


def instant(name: str = "at", *, nullable: bool = False) -> Column[int]:
    """A column of UTC seconds."""
    return Column(name, BigInteger, nullable=nullable)


head = Table(
    "head",
    meta,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("entries", Integer, nullable=False),
    Column("bookings", Integer, nullable=False),
    Column("excursions", Integer, nullable=False),
    Column("orders", Integer, nullable=False),
    Column("pulls", Integer, nullable=False),
    Column("hash", Text, nullable=False),
)

entry = Table(
    "entry",
    meta,
    Column("n", Integer, primary_key=True, autoincrement=False),
    Column("kind", Text, nullable=False),
    instant("at"),
    instant("recorded_at"),
    Column("by", Text, nullable=False),
    Column("site", Text, nullable=False),
    Column("what", Text, nullable=False),
    Column("body_hash", Text, nullable=False),
    Column("before_hash", Text, nullable=False),
    Column("hash", Text, nullable=False),
)

reversal = Table(
    "reversal",
    meta,
    _key(),
    _entry(),
    Column("reverses", Integer, nullable=False, unique=True),
    Column("why", Text),
)

breach = Table(
    "breach",
    meta,
    _key(),
    _entry(),
    Column("slug", Text, nullable=False),
    Column("what", Text, nullable=False),
)

practice_version = Table(
    "practice_version",
    meta,
    _key(),
    _entry(),
    instant("valid_from", nullable=True),
    Column("text", Text, nullable=False),
)

day_exception = Table(
    "day_exception",
    meta,
    _key(),
    _entry(),
    instant(),
    Column("site", Text, nullable=False),
    Column("day", Text, nullable=False),
    Column("open", Boolean, nullable=False),
    Column("from_minute", Integer, nullable=False),
    Column("to_minute", Integer, nullable=False),
    Column("why", Text),
)

place = Table(
    "place",
    meta,
    _key(),
    _entry(),
    Column("name", Text, nullable=False, unique=True),
    Column("kind", Text, nullable=False),
)

lot = Table(
    "lot",
    meta,
    _key(),
    _entry(),
    Column("product", Text, nullable=False),
    Column("code", Text, nullable=False),
    UniqueConstraint("product", "code"),
)

lot_expiry = Table(
    "lot_expiry",
    meta,
    _key(),
    _entry(),
    Column("lot", Integer, ForeignKey("lot.id"), nullable=False, index=True),
    Column("expiry", Text),
)

movement = Table(
    "movement",
    meta,
    _key(),
    _entry(),
    instant(),
    Column("lot", Integer, ForeignKey("lot.id"), nullable=False),
    Column("quantity", Integer, nullable=False),
    Column("source", Integer, ForeignKey("place.id"), nullable=False),
    Column("target", Integer, ForeignKey("place.id"), nullable=False, index=True),
    Column("prefer", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("booking", Integer),
    Column("supply_order", Integer),
    Column("why", Text),
    Index("ix_movement_lot_at", "lot", "at"),
    Index(
        "ix_movement_supply_order",
        "supply_order",
        sqlite_where=text("supply_order IS NOT NULL"),
        postgresql_where=text("supply_order IS NOT NULL"),
    ),
)

hold = Table(
    "hold",
    meta,
    _key(),
    _entry(),
    instant(),
    Column("lot", Integer, ForeignKey("lot.id"), nullable=False, index=True),
    Column("place", Integer, ForeignKey("place.id"), nullable=False),
    Column("quantity", Integer, nullable=False),
    Column("cause", Text, nullable=False),
    Column("why", Text),
)

release = Table(
    "release",
    meta,
    _key(),
    _entry(),
    instant(),
    Column("lot", Integer, ForeignKey("lot.id"), nullable=False, index=True),
    Column("place", Integer, ForeignKey("place.id"), nullable=False),
    Column("quantity", Integer, nullable=False),
    Column("causes", Text, nullable=False),
    Column("why", Text),
    Column("answer", Text),
)

pull = Table(
    "pull",
    meta,
    Column("n", Integer, primary_key=True, autoincrement=False),
    _entry(),
    instant(),
    Column("lot", Integer, ForeignKey("lot.id"), nullable=False, index=True),
    Column("source", Integer, ForeignKey("place.id"), nullable=False),
    Column("prior", Integer),
)

promise = Table(
    "promise",
    meta,
    _key(),
    _entry(),
    instant(),
    Column("pull", Integer, nullable=False, index=True),
    Column("booking", Integer),
)

booking = Table(
    "booking",
    meta,
    Column("n", Integer, primary_key=True, autoincrement=False),
    _entry(),
    Column("site", Text, nullable=False),
)

booking_link = Table(
    "booking_link",
    meta,
    _key(),
    _entry(),
    Column("booking", Integer, ForeignKey("booking.n"), nullable=False),
    Column("external_id", Text, nullable=False, index=True),
)

booking_change = Table(
    "booking_change",
    meta,
    _key(),
    _entry(),
    instant(),
    Column("booking", Integer, ForeignKey("booking.n"), nullable=False, index=True),
    Column("state", Text, nullable=False),
    Column("procedure", Text, nullable=False),
    instant("start"),
    Column("patient", Text, nullable=False),
    Column("cycles", Integer),
    Column("cycles_done", Integer),
    Column("outcome", Text),
    Column("sequence", Integer),
    Column("why", Text),
)

reading = Table(
    "reading",
    meta,
    Column("fridge", Integer, ForeignKey("place.id"), nullable=False),
    instant(),
    # No key of ``entry`` here and no index on it: over millions of rows they cost more than all the rest of an
    # import. ``reading_span`` says which entry brought which stretch, and the chain seals the readings themselves.
    Column("entry", Integer, nullable=False),
    Column("milli", Integer, nullable=False),
    PrimaryKeyConstraint("fridge", "at", "entry"),
    sqlite_with_rowid=False,
)

reading_conflict = Table(
    "reading_conflict",
    meta,
    _key(),
    _entry(),
    Column("fridge", Integer, ForeignKey("place.id"), nullable=False),
    instant(),
    Column("kept_milli", Integer, nullable=False),
    Column("other_milli", Integer, nullable=False),
    Column("line", Integer, nullable=False),
)

hand_check = Table(
    "hand_check",
    meta,
    _key(),
    _entry(),
    Column("fridge", Integer, ForeignKey("place.id"), nullable=False),
    instant(),
    Column("milli", Integer, nullable=False),
    Column("low", Integer),
    Column("high", Integer),
    Column("doubtful", Boolean, nullable=False),
    Column("note", Text),
    Index("ix_hand_check_fridge_at", "fridge", "at"),
)

excursion = Table(
    "excursion",
    meta,
    Column("n", Integer, primary_key=True, autoincrement=False),
    _entry(),
    Column("fridge", Integer, ForeignKey("place.id"), nullable=False, index=True),
    Column("source", Text, nullable=False),
    Column("direction", Text),
    Column("limit_milli", Integer),
    instant("anchor_at"),
)

decision = Table(
    "decision",
    meta,
    _key(),
    _entry(),
    instant(),
    Column("excursion", Integer, ForeignKey("excursion.n"), nullable=False, index=True),
    Column("verdict", Text, nullable=False),
    Column("figures", Text, nullable=False),
    Column("why", Text, nullable=False),
    Column("answer", Text),
)

explained = Table(
    "explained",
    meta,
    _key(),
    _entry(),
    instant(),
    Column("fridge", Integer, ForeignKey("place.id"), nullable=False),
    Column("day", Text, nullable=False),
    Column("why", Text, nullable=False),
)

fridge_duty = Table(
    "fridge_duty",
    meta,
    _key(),
    _entry(),
    instant(),
    Column("fridge", Integer, ForeignKey("place.id"), nullable=False),
    Column("on", Boolean, nullable=False),
    Column("why", Text),
)

supply_order = Table(
    "supply_order",
    meta,
    Column("n", Integer, primary_key=True, autoincrement=False),
    _entry(),
    instant(),
    Column("supplier", Text, nullable=False),
    Column("site", Text, nullable=False),
    instant("due"),
)

order_line = Table(
    "order_line",
    meta,
    _key(),
    _entry(),
    Column("supply_order", Integer, ForeignKey("supply_order.n"), nullable=False, index=True),
    Column("product", Text, nullable=False),
    Column("quantity", Integer, nullable=False),
    Column("proposed", Integer),
    Column("pack_price", Integer),
    Column("why", Text),
)

order_change = Table(
    "order_change",
    meta,
    _key(),
    _entry(),
    instant(),
    Column("supply_order", Integer, ForeignKey("supply_order.n"), nullable=False, index=True),
    Column("kind", Text, nullable=False),
    instant("due", nullable=True),
    Column("why", Text),
)

remembered = Table(
    "remembered",
    meta,
    _key(),
    _entry(),
    Column("subject", Text, nullable=False),
    Column("text", Text, nullable=False),
)

RECORDS: tuple[Table, ...] = tuple(t for t in meta.sorted_tables if t.name != "head")
"""Every table whose rows may only be added, in an order that respects their references."""
