"""A page of what is still open, brought forward; what is of a lot, a kit or an order found by it."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "open_page",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("body", sa.Text, nullable=False),
        sa.Column("hash", sa.Text, nullable=False),
    )
    for table, column in (("lot_expiry", "lot"), ("pull", "lot"), ("promise", "pull"), ("movement", "target")):
        op.create_index(f"ix_{table}_{column}", table, [column])
    named = sa.text("supply_order IS NOT NULL")
    op.create_index(
        "ix_movement_supply_order", "movement", ["supply_order"], sqlite_where=named, postgresql_where=named
    )
