"""What keeps the record from being changed, looked at from outside: triggers, numbers given out, rows of nobody."""

import sqlalchemy as sa

from stockroom.store import tables as t

NUMBERED = ((t.booking, "bookings"), (t.excursion, "excursions"), (t.supply_order, "orders"), (t.pull, "pulls"))


def weakened(conn: sa.Connection) -> list[str]:
    """What has been taken away or put beside the record, in words; empty where all stands as it was made."""
    return [*_triggers(conn), *_numbers(conn), *_strays(conn)]


def _triggers(conn: sa.Connection) -> list[str]:
    """Tables whose triggers against change are missing."""
    if conn.dialect.name == "postgresql":
        # 'R' fires only while changes are replayed from another server: for everybody else it is off.
        query = (
            "SELECT relname, tgname FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid "
            "WHERE NOT tgisinternal AND tgenabled IN ('O', 'A') AND pg_table_is_visible(tgrelid)"
        )
        ends: tuple[str, ...] = ("_kept", "_not_emptied")
        heads: tuple[str, ...] = ("head_kept", "head_goes_forward")
    else:
        query = "SELECT tbl_name, name FROM sqlite_master WHERE type = 'trigger'"
        ends = ("_no_update", "_no_delete", "_no_replace")
        heads = ("head_no_delete", "head_one_row", "head_goes_forward")
    there = {(str(table), str(name)) for table, name in conn.execute(sa.text(query))}
    missing = [table.name for table in t.RECORDS if any((table.name, table.name + end) not in there for end in ends)]
    missing += ["head"] if any(("head", name) not in there for name in heads) else []
    return [f"{name}: the guard against changes was taken away" for name in missing]


def _numbers(conn: sa.Connection) -> list[str]:
    """Numbers that the head says it gave out and that no record has, or the other way round."""
    head = conn.execute(sa.select(t.head)).mappings().one()
    found = []
    for table, counter in NUMBERED:
        last = int(conn.scalar(sa.select(sa.func.coalesce(sa.func.max(table.c.n), 0))) or 0)
        if last != head[counter]:
            found.append(f"the head says that {head[counter]} {counter} were numbered, the last on record is {last}")
    return found


def _strays(conn: sa.Connection) -> list[str]:
    """Readings of a fridge that nobody knows, and what is neither yes nor no."""
    unknown = (
        sa.select(sa.func.count()).select_from(t.reading).where(t.reading.c.fridge.not_in(sa.select(t.place.c.id)))
    )
    found = ["readings: some are of a fridge that is not on record"] if conn.scalar(unknown) else []
    if conn.dialect.name != "postgresql":
        for table in t.RECORDS:
            for column in (c for c in table.columns if isinstance(c.type, sa.Boolean)):
                odd = sa.select(table.c.entry).where(sa.type_coerce(column, sa.Integer).not_in([0, 1]))
                found += [f"R-{n}: what it recorded was altered" for n in conn.scalars(odd)]
    return found
