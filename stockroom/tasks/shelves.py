"""What stands where: every lot with its state at an instant."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from datetime import date

from stockroom.core.records import Lot, Pull
from stockroom.core.stock import FOREVER, LotState, replay
from stockroom.errors import Refused, nearest
from stockroom.store import Link, ledger
from stockroom.store.entries import touched_lots
from stockroom.store.ledger import LotRecords
from stockroom.store.writing import ANY_LOT


@dataclass(frozen=True, slots=True)
class LotNow:
    """A lot, its records, and its state at the instant that was asked for."""

    lot: Lot
    records: LotRecords
    state: LotState

    def expired(self, today: date) -> bool:
        """True from the day after its expiry on; an unknown expiry is never called expired, nor usable for a kit."""
        return self.lot.expiry is not None and self.lot.expiry < today


def lots_now(conn: Link, until: int = FOREVER, only: Collection[int] | None = None) -> dict[int, LotNow]:
    """Lot key -> lot with its state at ``until``; not to be changed by who reads it.

    Replayed once per connection and instant; once something was written, again, of the lots that it concerned.
    """
    version = conn.info.get("ledger", 0)
    kept: _Kept | None = conn.info.get("lots")
    if kept is None or kept.version != version:
        stale: set[int | None] = conn.info.get("stale", set())
        if kept is not None and ANY_LOT not in stale and len(stale) <= MOST_STALE:
            kept = _mended(conn, kept, version, [key for key in stale if key is not None])
        elif only is not None:
            known, found = ledger.lots(conn), ledger.records(conn, only)
            return {k: LotNow(known[k], r, r.state(k, until)) for k, r in sorted(found.items())}
        else:
            found = dict(sorted(ledger.records(conn).items()))
            kept = _Kept(version, ledger.lots(conn), found, _latest(found.values()))
        conn.info["lots"], conn.info["stale"] = kept, set()
    moment = min(until, kept.latest)  # nothing has happened after the latest record
    if moment not in kept.done:
        kept.done[moment] = {k: LotNow(kept.lots[k], r, r.state(k, moment)) for k, r in kept.records.items()}
    done = kept.done[moment]
    return done if only is None else {k: v for k, v in done.items() if k in only}


@dataclass(frozen=True, slots=True)
class _Kept:
    """What was read on one connection, and the states that were replayed from it, by instant."""

    version: int
    lots: dict[int, Lot]
    records: dict[int, LotRecords]
    latest: int
    done: dict[int, dict[int, LotNow]] = field(default_factory=dict)
    stood: dict[int, dict[str, list[LotNow]]] = field(default_factory=dict)
    """By instant and place, the lots of which any piece ever stood there."""
    there: dict[int, dict[int, LotNow]] = field(default_factory=dict)
    pulls: dict[int, dict[int, Pull]] = field(default_factory=dict)


MOST_STALE = 200
"""Lots that are read anew one by one; of more, all are."""


def _mended(conn: Link, kept: _Kept, version: int, stale: Collection[int]) -> _Kept:
    """The same after records of some lots were added: only these are read and replayed anew."""
    lots, fresh = ledger.lots(conn), ledger.records(conn, stale)
    latest = max(kept.latest, _latest(fresh.values()))
    records = dict(sorted({**kept.records, **fresh}.items()))
    before = dict(kept.done)
    if kept.latest in before:
        before[latest] = before[kept.latest]  # of all others nothing has happened between the two
    done = {}
    for moment, states in before.items():
        new = {k: LotNow(lots[k], r, r.state(k, moment)) for k, r in fresh.items()}
        done[moment] = dict(sorted({**states, **new}.items()))
    return _Kept(version, lots, records, latest, done)


def _latest(found: Iterable[LotRecords]) -> int:
    return max((row.at for r in found for rows in (r.movements, r.holds, r.releases) for row in rows), default=0)


def lots_there(conn: Link, until: int = FOREVER) -> dict[int, LotNow]:
    """Those of ``lots_now`` of which anything is in the practice or owed: few, however many there ever were."""
    lots = lots_now(conn, until)
    kept: _Kept = conn.info["lots"]
    if until not in kept.there:
        kept.there[until] = {k: x for k, x in lots.items() if x.state.inside() or any(x.state.short.values())}
    return kept.there[until]


def pulls_there(conn: Link, until: int = FOREVER) -> dict[int, Pull]:
    """P-number -> every kit taken out by ``until`` of a lot of which anything is there: all that can be out still."""
    lots = lots_there(conn, until)
    kept: _Kept = conn.info["lots"]
    if until not in kept.pulls:
        kept.pulls[until] = ledger.pulls_of(conn, lots.keys(), until)
    return kept.pulls[until]


def stood(conn: Link, place: str, until: int = FOREVER) -> list[LotNow]:
    """The lots of which any piece ever stood in a place by ``until``; every lot is looked at once for all places."""
    lots = lots_now(conn, until)
    kept: _Kept = conn.info["lots"]
    moment = min(until, kept.latest)
    if moment not in kept.stood:
        found = kept.stood[moment] = {}
        for x in lots.values():
            for name in {s.place for p in x.state.parcels for s in p.path()}:
                found.setdefault(name, []).append(x)
    return kept.stood[moment].get(place, [])


def newly_short(conn: Link, entry: int) -> list[tuple[str, str, int]]:
    """(product, lot, pieces) by which an entry makes more of a lot gone than the record ever had."""
    moved = touched_lots(conn, entry)
    found = []
    for key, now in lots_now(conn, only=moved).items():
        before = replay(
            key, [m for m in now.records.movements if m.entry != entry], now.records.holds, now.records.releases
        )
        more = now.state.unaccounted - before.unaccounted
        if more > 0:
            found.append((now.lot.product, now.lot.code, more))
    return found


def lots_of(conn: Link, product: str, until: int = FOREVER) -> list[LotNow]:
    """The lots of one product with their state at ``until``."""
    return list(lots_now(conn, until, ledger.lots(conn, product)).values())


def lot_named(conn: Link, product: str, code: str) -> Lot:
    """The lot of that exact code. Raises: Refused, naming the nearest, where there is none."""
    exact = ledger.lots(conn, product, code)
    if exact:
        return next(iter(exact.values()))
    others = [x.code for x in ledger.lots(conn, product).values()]
    hint = nearest(code, others)
    listed = ", ".join(others[-8:]) or "none"
    raise Refused(
        "unknown-lot",
        f'there is no lot "{code}" of {product}{hint}',
        f"lots of {product} on record: {listed} (capitals and length count)",
    )
