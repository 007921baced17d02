"""Readings without the costly key and index on their entry; what is derived from them beside them."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    if op.get_bind().dialect.name == "postgresql":
        op.drop_constraint("reading_entry_fkey", "reading", type_="foreignkey")
        op.drop_index("ix_reading_entry", table_name="reading")
    else:
        lean_readings()
    derived()
    op.execute(
        "INSERT INTO reading_span (entry, fridge, first_at, last_at, readings) "
        "SELECT entry, fridge, min(at), max(at), count(*) FROM reading GROUP BY entry, fridge"
    )


def lean_readings() -> None:
    """SQLite cannot drop a foreign key: the table is made again, rows and triggers with it."""
    op.create_table(
        "reading_lean",
        sa.Column("fridge", sa.Integer, sa.ForeignKey("place.id"), nullable=False),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("entry", sa.Integer, nullable=False),
        sa.Column("milli", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("fridge", "at", "entry"),
        sqlite_with_rowid=False,
    )
    op.execute("INSERT INTO reading_lean (fridge, at, entry, milli) SELECT fridge, at, entry, milli FROM reading")
    op.drop_table("reading")
    op.rename_table("reading_lean", "reading")
    said = "SELECT RAISE(ABORT, 'records are only added')"
    same = "fridge = NEW.fridge AND at = NEW.at AND entry = NEW.entry"
    op.execute(f'CREATE TRIGGER "reading_no_update" BEFORE UPDATE ON "reading" BEGIN {said}; END')
    op.execute(f'CREATE TRIGGER "reading_no_delete" BEFORE DELETE ON "reading" BEGIN {said}; END')
    op.execute(
        'CREATE TRIGGER "reading_no_replace" BEFORE INSERT ON "reading" '
        f'WHEN EXISTS (SELECT 1 FROM "reading" WHERE {same}) BEGIN {said}; END'
    )


def derived() -> None:
    op.create_table(
        "reading_span",
        sa.Column("entry", sa.Integer, nullable=False),
        sa.Column("fridge", sa.Integer, sa.ForeignKey("place.id"), nullable=False),
        sa.Column("first_at", sa.BigInteger, nullable=False),
        sa.Column("last_at", sa.BigInteger, nullable=False),
        sa.Column("readings", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("entry", "fridge"),
    )
    op.create_table(
        "day_summary",
        sa.Column("fridge", sa.Integer, sa.ForeignKey("place.id"), nullable=False),
        sa.Column("day", sa.Integer, nullable=False),
        sa.Column("max_gap", sa.Integer, nullable=False),
        sa.Column("readings", sa.Integer, nullable=False),
        sa.Column("low", sa.Integer, nullable=False),
        sa.Column("high", sa.Integer, nullable=False),
        sa.Column("monitored", sa.Double, nullable=False),
        sa.Column("integral", sa.Double, nullable=False),
        sa.PrimaryKeyConstraint("fridge", "day"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "line_scan",
        sa.Column("fridge", sa.Integer, sa.ForeignKey("place.id"), nullable=False),
        sa.Column("direction", sa.Text, nullable=False),
        sa.Column("limit_milli", sa.Integer, nullable=False),
        sa.Column("from_at", sa.BigInteger, nullable=False),
        sa.Column("until_at", sa.BigInteger, nullable=False),
        sa.Column("max_gap", sa.Integer, nullable=False),
        sa.Column("settle", sa.Integer, nullable=False),
        sa.Column("since", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("fridge", "direction", "limit_milli", "from_at"),
    )
    op.create_table(
        "spell",
        sa.Column("fridge", sa.Integer, sa.ForeignKey("place.id"), nullable=False),
        sa.Column("direction", sa.Text, nullable=False),
        sa.Column("limit_milli", sa.Integer, nullable=False),
        sa.Column("from_at", sa.BigInteger, nullable=False),
        sa.Column("first_out", sa.BigInteger, nullable=False),
        sa.Column("last_out", sa.BigInteger, nullable=False),
        sa.Column("start_at", sa.BigInteger, nullable=False),
        sa.Column("end_at", sa.BigInteger),
        sa.Column("before_at", sa.BigInteger),
        sa.Column("after_at", sa.BigInteger),
        sa.Column("seconds", sa.Double, nullable=False),
        sa.Column("extreme", sa.Integer, nullable=False),
        sa.Column("degree_minutes", sa.Double, nullable=False),
        sa.Column("mkt", sa.Double, nullable=False),
        sa.PrimaryKeyConstraint("fridge", "direction", "limit_milli", "from_at", "first_out"),
        sqlite_with_rowid=False,
    )
