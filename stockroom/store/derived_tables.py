"""What is computed from the readings and kept beside them (docs/schema.md): no records, and apart from them.

Their rows change; they may be dropped and made anew.
"""

from sqlalchemy import Column, Double, ForeignKey, Integer, MetaData, PrimaryKeyConstraint, Table, Text

from stockroom.store.tables import instant, place

derived = MetaData()

reading_span = Table(
    "reading_span",
    derived,
    Column("entry", Integer, nullable=False),
    Column("fridge", Integer, ForeignKey(place.c.id), nullable=False),
    instant("first_at"),
    instant("last_at"),
    Column("readings", Integer, nullable=False),
    PrimaryKeyConstraint("entry", "fridge"),
)

day_summary = Table(
    "day_summary",
    derived,
    Column("fridge", Integer, ForeignKey(place.c.id), nullable=False),
    Column("day", Integer, nullable=False),
    Column("max_gap", Integer, nullable=False),
    Column("readings", Integer, nullable=False),
    Column("low", Integer, nullable=False),
    Column("high", Integer, nullable=False),
    Column("monitored", Double, nullable=False),
    Column("integral", Double, nullable=False),
    PrimaryKeyConstraint("fridge", "day"),
    sqlite_with_rowid=False,
)

line_scan = Table(
    "line_scan",
    derived,
    Column("fridge", Integer, ForeignKey(place.c.id), nullable=False),
    Column("direction", Text, nullable=False),
    Column("limit_milli", Integer, nullable=False),
    instant("from_at"),
    instant("until_at"),
    Column("max_gap", Integer, nullable=False),
    Column("settle", Integer, nullable=False),
    instant("since"),
    PrimaryKeyConstraint("fridge", "direction", "limit_milli", "from_at"),
)

spell = Table(
    "spell",
    derived,
    Column("fridge", Integer, ForeignKey(place.c.id), nullable=False),
    Column("direction", Text, nullable=False),
    Column("limit_milli", Integer, nullable=False),
    instant("from_at"),
    instant("first_out"),
    instant("last_out"),
    instant("start_at"),
    instant("end_at", nullable=True),
    instant("before_at", nullable=True),
    instant("after_at", nullable=True),
    Column("seconds", Double, nullable=False),
    Column("extreme", Integer, nullable=False),
    Column("degree_minutes", Double, nullable=False),
    Column("mkt", Double, nullable=False),
    PrimaryKeyConstraint("fridge", "direction", "limit_milli", "from_at", "first_out"),
    sqlite_with_rowid=False,
)

open_page = Table(
    "open_page",
    derived,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("body", Text, nullable=False),
    Column("hash", Text, nullable=False),
)
