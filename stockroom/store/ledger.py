"""Places, lots, movements, holds, releases and pulls: read as core records, appended to an open entry."""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Any

import sqlalchemy as sa

from stockroom.core.records import OUTSIDE, Hold, Lot, Movement, Pull, Release
from stockroom.core.stock import FOREVER, LotState, replay
from stockroom.store import tables as t
from stockroom.store.once import once
from stockroom.store.open_page import MOST_NAMED
from stockroom.store.writing import Book, live

_PLACES = sa.select(t.place.c.id, t.place.c.name)
_PLACE_KEY = sa.select(t.place.c.id).where(t.place.c.name == sa.bindparam("name"))


def place_names(conn: sa.Connection) -> dict[int, str]:
    """Key -> name of every place that was ever used."""
    return {int(k): str(n) for k, n in conn.execute(_PLACES)}


def _names_of(conn: sa.Connection, keys: Collection[int]) -> dict[int, str]:
    """The same of some places; of all where a statement could not name them."""
    if len(keys) > MOST_NAMED:
        return place_names(conn)
    return {int(k): str(n) for k, n in conn.execute(_PLACES.where(t.place.c.id.in_(keys)))}


def place_kinds(conn: sa.Connection) -> dict[str, str]:
    """Name -> kind (fridge, shelf, box, outside) of every place that was ever used, kits that were out aside."""
    query = sa.select(t.place.c.name, t.place.c.kind).where(t.place.c.kind != "pull").order_by(t.place.c.id)
    return {str(n): str(k) for n, k in conn.execute(query)}


def place_key(conn: sa.Connection, name: str) -> int | None:
    """The key of a place, None where nothing was ever recorded there."""
    return once(conn, ("place", name), lambda: _place_key(conn, name))


def _place_key(conn: sa.Connection, name: str) -> int | None:
    found = conn.scalar(_PLACE_KEY, {"name": name})
    return None if found is None else int(found)


def placed(book: Book, name: str, kind: str) -> int:
    """The key of a place, which is added on its first use."""
    key = place_key(book.conn, name)
    if key is not None:
        return key
    return book.add(t.place, name=name, kind="outside" if name in OUTSIDE else kind)


@cache
def _lots() -> Any:
    return (
        sa.select(t.lot.c.id, t.lot.c.product, t.lot.c.code, t.lot_expiry.c.expiry)
        .select_from(t.lot.outerjoin(t.lot_expiry, (t.lot_expiry.c.lot == t.lot.c.id) & live(t.lot_expiry)))
        .order_by(t.lot.c.id)
    )


@cache
def _rows_of(table: sa.Table, columns: tuple[str, ...], some: bool) -> Any:
    """Built once: the standing rows of a table, of all lots or of ``:lots``."""
    kept: Any = live(table)
    if table is t.hold:
        # What an excursion held stays held although the reading is taken back: only a person frees it.
        kept = sa.or_(kept, t.hold.c.cause.startswith("E-"))
    query = sa.select(*(table.c[c] for c in columns)).where(kept).order_by(table.c.id)
    return query.where(table.c.lot.in_(sa.bindparam("lots", expanding=True))) if some else query


def lots(
    conn: sa.Connection, product: str | None = None, code: str | None = None, only: Collection[int] | None = None
) -> dict[int, Lot]:
    """Key -> lot, with every expiry that was stated for it; codes are exact, letter by letter."""
    query = _lots()
    if only is not None:
        query = query.where(t.lot.c.id.in_(only))
    if product is not None:
        query = query.where(t.lot.c.product == product)
    if code is not None:
        query = query.where(t.lot.c.code == code)
    said: dict[int, tuple[str, str, set[date]]] = {}
    for key, prod, lot_code, expiry in conn.execute(query):
        _, _, days = said.setdefault(int(key), (str(prod), str(lot_code), set()))
        if expiry is not None:
            days.add(_day(str(expiry)))
    return {k: Lot(k, p, c, min(days, default=None), tuple(sorted(days))) for k, (p, c, days) in said.items()}


@cache
def _day(text: str) -> date:
    return date.fromisoformat(text)


def last_lot(conn: sa.Connection) -> int:
    """The highest key that a lot has."""
    return int(conn.scalar(sa.select(sa.func.max(t.lot.c.id))) or 0)


def lot_key(book: Book, product: str, code: str) -> int:
    """The key of a lot, which is added on its first mention."""
    found = book.conn.scalar(sa.select(t.lot.c.id).where(t.lot.c.product == product, t.lot.c.code == code))
    return int(found) if found is not None else book.add(t.lot, product=product, code=code)


def state_expiry(book: Book, lot: int, expiry: date | None) -> None:
    """Records what expiry a delivery, an opening or a count stated for a lot."""
    book.add(t.lot_expiry, lot=lot, expiry=None if expiry is None else expiry.isoformat())


@dataclass(frozen=True, slots=True)
class LotRecords:
    """Everything on record about one lot."""

    movements: tuple[Movement, ...]
    holds: tuple[Hold, ...]
    releases: tuple[Release, ...]

    def state(self, lot: int, until: int = FOREVER) -> LotState:
        """The lot as it stands at ``until``."""
        return replay(lot, self.movements, self.holds, self.releases, until)


def records(conn: sa.Connection, only: Collection[int] | None = None) -> dict[int, LotRecords]:
    """Lot key -> its movements, holds and releases (all times; reversed ones left out)."""
    moves: dict[int, list[Movement]] = defaultdict(list)
    holds: dict[int, list[Hold]] = defaultdict(list)
    frees: dict[int, list[Release]] = defaultdict(list)

    def rows(table: sa.Table, *columns: str) -> list[Any]:
        query = _rows_of(table, columns, only is not None)
        return list(conn.execute(query, {} if only is None else {"lots": list(only)}).fetchall())

    start = ("id", "entry", "at", "lot")
    ends = ("quantity", "source", "target", "prefer", "kind", "booking", "supply_order", "why")
    moved = rows(t.movement, *start, *ends)
    held = rows(t.hold, *start, "place", "quantity", "cause", "why")
    freed = rows(t.release, *start, "place", "quantity", "causes", "why")
    used = {k for row in moved for k in (row[5], row[6])} | {row[4] for row in (*held, *freed)}
    names = _names_of(conn, used)
    for key, entry, at, lot, quantity, source, target, *rest in moved:
        moves[lot].append(Movement(key, entry, at, lot, quantity, names[source], names[target], *rest))
    for key, entry, at, lot, place, *rest in held:
        holds[lot].append(Hold(key, entry, at, lot, names[place], *rest))
    for key, entry, at, lot, place, quantity, causes, why in freed:
        frees[lot].append(Release(key, entry, at, lot, names[place], quantity, tuple(causes.split()), why))
    return {k: LotRecords(tuple(moves[k]), tuple(holds[k]), tuple(frees[k])) for k in {*moves, *holds}}


def lots_of_place(conn: sa.Connection, place: str) -> set[int]:
    """Keys of the lots of which anything was ever moved into a place."""
    m = t.movement.c
    query = sa.select(m.lot).distinct().where(m.target.in_(sa.select(t.place.c.id).where(t.place.c.name == place)))
    return {int(k) for k in conn.scalars(query)}


def moved(
    book: Book,
    lot: int,
    quantity: int,
    source: int,
    target: int,
    kind: str,
    *,
    at: int | None = None,
    prefer: str = "free",
    booking: int | None = None,
    order: int | None = None,
    why: str | None = None,
) -> int:
    """Appends a movement between two place keys; returns its key."""
    return book.add(
        t.movement,
        at=book.at if at is None else at,
        lot=lot,
        quantity=quantity,
        source=source,
        target=target,
        prefer=prefer,
        kind=kind,
        booking=booking,
        supply_order=order,
        why=why,
    )


def held(book: Book, lot: int, place: int, quantity: int, at: int, cause: str, why: str | None = None) -> int:
    """Appends a hold; returns its key."""
    return book.add(t.hold, at=at, lot=lot, place=place, quantity=quantity, cause=cause, why=why)


def released(
    book: Book, lot: int, place: int, quantity: int, causes: Collection[str], why: str, answer: str | None = None
) -> int:
    """Appends a named person's release from ``causes``; returns its key."""
    return book.add(
        t.release, at=book.at, lot=lot, place=place, quantity=quantity, causes=" ".join(sorted(causes)), why=why,
        answer=answer,
    )  # fmt: skip


def pulls(conn: sa.Connection, until: int = FOREVER) -> dict[int, Pull]:
    """P-number -> every kit that was ever taken out by ``until``, with the booking it is promised to then.

    Read once per connection and instant, and again once something was written; not to be changed by who reads it.
    """
    version = conn.info.get("ledger", 0)
    kept: tuple[int, dict[int, dict[int, Pull]]] = conn.info.get("pulls", (version, {}))
    if kept[0] != version or len(kept[1]) > MOST_KEPT:
        kept = (version, {})
    conn.info["pulls"] = kept
    if until not in kept[1]:
        kept[1][until] = _pulls(conn, until)
    return kept[1][until]


MOST_KEPT = 4
"""Instants of which what was read is kept: a search through many must not hold them all."""


def pulls_of(conn: sa.Connection, only: Collection[int], until: int = FOREVER) -> dict[int, Pull]:
    """The same of some lots. A kit that is taken out again is of the lot that it always was."""
    return _pulls(conn, until, only) if len(only) <= MOST_NAMED else pulls(conn, until)


def pull_of(conn: sa.Connection, number: int | None, until: int = FOREVER) -> Pull | None:
    """The kit that was taken out by ``until`` under a P-number, None where there is none."""
    lot = None if number is None else conn.scalar(sa.select(t.pull.c.lot).where(t.pull.c.n == number))
    return None if lot is None or number is None else _pulls(conn, until, [int(lot)]).get(number)


def pulls_for(conn: sa.Connection, booking: int, until: int = FOREVER) -> list[Pull]:
    """The kits taken out by ``until`` that are promised to a booking then."""
    ever = sa.select(t.promise.c.pull).where(t.promise.c.booking == booking)
    lots = [int(k) for k in conn.scalars(sa.select(t.pull.c.lot).distinct().where(t.pull.c.n.in_(ever)))]
    return [p for p in _pulls(conn, until, lots).values() if p.booking == booking]


def _pulls(conn: sa.Connection, until: int, only: Collection[int] | None = None) -> dict[int, Pull]:
    query = sa.select(t.promise.c.pull, t.promise.c.booking).where(live(t.promise), t.promise.c.at <= until)
    these = sa.true() if only is None else t.pull.c.lot.in_(list(only))
    if only is not None:
        query = query.where(t.promise.c.pull.in_(sa.select(t.pull.c.n).where(these)))
    latest = {int(r[0]): r[1] for r in conn.execute(query.order_by(t.promise.c.at, t.promise.c.id))}
    returned = backs(conn, only)
    rows = conn.execute(
        sa.select(t.pull.c.n, t.pull.c.entry, t.pull.c.at, t.pull.c.lot, t.pull.c.prior)
        .add_columns(t.lot.c.product, t.place.c.name, t.entry.c.site)
        .join(t.lot, t.lot.c.id == t.pull.c.lot)
        .join(t.place, t.place.c.id == t.pull.c.source)
        .outerjoin(t.entry, t.entry.c.n == t.pull.c.entry)
        .where(live(t.pull), t.pull.c.at <= until, these)
        .order_by(t.pull.c.n)
    )
    found: dict[int, Pull] = {}
    for n, entry, at, lot, prior, product, source, site in rows:
        before = found.get(prior)
        earlier = 0 if before is None else before.out_before + returned.get(before.place, before.at) - before.at
        found[n] = Pull(n, entry, at, lot, product, source, site or "", latest.get(n), earlier)
    return found


def backs(conn: sa.Connection, only: Collection[int] | None = None) -> dict[str, int]:
    """P-number as a place (P-5) -> when that kit went back into a fridge; of all lots or some."""
    query = (
        sa.select(t.place.c.name, t.movement.c.at)
        .join(t.place, t.place.c.id == t.movement.c.source)
        .where(t.movement.c.kind == "back", live(t.movement))
    )
    if only is not None and len(only) <= MOST_NAMED:
        query = query.where(t.movement.c.lot.in_(list(only)))
    return {str(name): int(at) for name, at in conn.execute(query)}


def first_seen(conn: sa.Connection, until: int) -> list[tuple[str, str, str, int]]:
    """(product, from, to, when first by ``until``) of all that ever moved; a kit taken out stays where it was taken from."""
    m, came, went = t.movement.c, t.place.alias("came"), t.place.alias("went")
    to = sa.case((went.c.kind == "pull", came.c.name), else_=went.c.name)
    query = (
        sa.select(t.lot.c.product, came.c.name, to, sa.func.min(m.at))
        .join_from(t.movement, t.lot, t.lot.c.id == m.lot)
        .join(came, came.c.id == m.source)
        .join(went, went.c.id == m.target)
        .where(live(t.movement), m.at <= until, came.c.kind != "pull")
        .group_by(t.lot.c.product, came.c.name, to)
    )
    return [(str(product), str(source), str(target), int(at)) for product, source, target, at in conn.execute(query)]


def used_without(conn: sa.Connection, until: int) -> list[tuple[str, str, int, int]]:
    """(product, place, when, pieces) of every use by ``until`` that names no booking; of a kit that was out, the place it
    was taken from.
    """
    m, came, went = t.movement.c, t.place.alias("came"), t.place.alias("went")
    query = (
        sa.select(t.lot.c.product, came.c.name, came.c.kind, m.at, m.quantity)
        .join_from(t.movement, t.lot, t.lot.c.id == m.lot)
        .join(came, came.c.id == m.source)
        .join(went, went.c.id == m.target)
        .where(live(t.movement), m.at <= until, went.c.name == "used", m.booking.is_(None))
        .order_by(m.at, m.id)
    )
    rows = conn.execute(query).fetchall()
    out = {int(name[2:]) for _, name, kind, _, _ in rows if kind == "pull"}
    taken = sa.select(t.pull.c.n, t.place.c.name).join(t.place, t.place.c.id == t.pull.c.source)
    taken = taken.where(t.pull.c.n.in_(out)) if len(out) <= MOST_NAMED else taken
    homes = {f"P-{n}": str(name) for n, name in conn.execute(taken)} if out else {}
    return [(str(p), homes.get(name, str(name)), int(at), int(n)) for p, name, _, at, n in rows]


def used_on_bookings(conn: sa.Connection, until: int) -> list[tuple[int, str, int]]:
    """(B-number, product, pieces) of every use by ``until`` that names a booking; a booking may use of several lots."""
    m, went = t.movement.c, t.place.alias("went")
    query = (
        sa.select(m.booking, t.lot.c.product, m.quantity)
        .join_from(t.movement, t.lot, t.lot.c.id == m.lot)
        .join(went, went.c.id == m.target)
        .where(live(t.movement), m.at <= until, went.c.name == "used", m.booking.is_not(None))
    )
    return [(number, product, n) for number, product, n in conn.execute(query)]


def promises(conn: sa.Connection) -> list[tuple[int, int]]:
    """(when, entry) of every standing promise of a kit, and of every one that was taken from it."""
    query = sa.select(t.promise.c.at, t.promise.c.entry).where(live(t.promise))
    return [(int(at), int(entry)) for at, entry in conn.execute(query)]


def pulled(book: Book, lot: int, source: int, prior: int | None = None) -> tuple[int, int]:
    """Appends a kit taken out of the fridge: (P-number, key of the place that it is now).

    ``prior`` is its P-number on an earlier outing, whose hours it keeps.
    """
    number = book.number("pulls")
    book.add(t.pull, n=number, at=book.at, lot=lot, source=source, prior=prior)
    return number, placed(book, f"P-{number}", "pull")


def promised(book: Book, pull: int, booking: int | None) -> None:
    """Appends that a kit out of the fridge is for a booking, or for none."""
    book.add(t.promise, at=book.at, pull=pull, booking=booking)
