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
from stockroom.store.open_page import MOST_NAMED, fridge_pages, lots_since, page_from
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
    kept = _known(conn, "lots")
    if kept is None:
        if only is not None:
            return _read(conn, only).states(until)
        kept = conn.info["lots"] = _read(conn, None)
    done = kept.states(until)
    return done if only is None else {k: v for k, v in done.items() if k in only}


def _known(conn: Link, which: str) -> "_Kept | None":
    """What was read before under a name; where something was written since, with the lots that it concerned read anew."""
    kept: _Kept | None = conn.info.get(which)
    version = conn.info.get("ledger", 0)
    if kept is None or kept.version == version:
        return kept
    stale = set(conn.info["touched"][kept.version :]) - {None}
    if ANY_LOT in stale or len(stale) > MOST_STALE:
        return None
    kept = conn.info[which] = _mended(conn, kept, version, stale)
    return kept


MOST_STALE = 200
"""Lots that are read anew one by one; of more, all are."""


def _mended(conn: Link, kept: "_Kept", version: int, stale: Collection[int]) -> "_Kept":
    """The same after records of some lots were added: only these are read and replayed anew."""
    lots, fresh = ledger.lots(conn, only=stale), ledger.records(conn, stale)
    latest = max(kept.latest, _latest(fresh.values()))
    records = dict(sorted({**kept.records, **fresh}.items()))
    before = dict(kept.done)
    if kept.latest in before:
        before[latest] = before[kept.latest]  # of all others nothing has happened between the two
    done = {}
    for moment, states in before.items():
        new = {k: LotNow(lots[k], r, r.state(k, moment)) for k, r in fresh.items()}
        done[moment] = dict(sorted({**states, **new}.items()))
    return _Kept(version, kept.lots | lots, records, latest, done)


def _read(conn: Link, only: Collection[int] | None) -> "_Kept":
    found = dict(sorted(ledger.records(conn, only).items()))
    return _Kept(conn.info.get("ledger", 0), ledger.lots(conn, only=only), found, _latest(found.values()))


def lots_open(conn: Link, until: int = FOREVER) -> dict[int, LotNow]:
    """Those of ``lots_now`` that an excursion which waits can have touched, where they were brought forward; else all."""
    return _open(conn, until).states(until) if fridge_pages(conn, until) else lots_now(conn, until)


def _open(conn: Link, until: int) -> "_Kept":
    """At least all lots that have pieces in the practice, or are owed any: those of the page, and those touched since."""
    whole, page = _known(conn, "lots"), page_from(conn, until)
    if whole is None and page is not None:
        kept = _known(conn, "open lots")
        if kept is None:
            keys = page.living | lots_since(conn, page)
            kept = None if len(keys) > MOST_NAMED else _read(conn, keys)
            conn.info["open lots"] = kept
        if kept is not None:
            return kept
    lots_now(conn, until)
    found: _Kept = conn.info["lots"]
    return found


@dataclass(slots=True)
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

    def add(self, more: "_Kept") -> None:
        """Takes in more lots: nothing of them is there, so that what was found of what is there holds."""
        self.lots.update(more.lots)
        self.records.update(more.records)
        if more.latest > self.latest:
            # The states as of the latest record are those of the later one too, of all that had none since.
            if self.latest in self.done:
                self.done[more.latest] = self.done.pop(self.latest)
            if self.latest in self.stood:
                self.stood[more.latest] = self.stood.pop(self.latest)
            self.latest = more.latest
        for moment, done in self.done.items():
            done.update(more.states(moment))
        for moment, stood in self.stood.items():
            _by_place(more.states(moment).values(), stood)

    def states(self, until: int) -> dict[int, LotNow]:
        """Key -> lot with its state at an instant."""
        moment = min(until, self.latest)  # nothing has happened after the latest record
        if moment not in self.done:
            self.done[moment] = {k: LotNow(self.lots[k], r, r.state(k, moment)) for k, r in self.records.items()}
        return self.done[moment]

    def stood_in(self, place: str, until: int) -> list[LotNow]:
        """The lots of which any piece ever stood in a place; every lot is looked at once for all places."""
        moment = min(until, self.latest)
        if moment not in self.stood:
            self.stood[moment] = _by_place(self.states(moment).values(), {})
        return self.stood[moment].get(place, [])


def _by_place(lots: Iterable[LotNow], found: dict[str, list[LotNow]]) -> dict[str, list[LotNow]]:
    """Adds each lot to the list of every place in which any piece of it ever stood."""
    for x in lots:
        for name in {s.place for p in x.state.parcels for s in p.path()}:
            found.setdefault(name, []).append(x)
    return found


def _latest(found: Iterable[LotRecords]) -> int:
    return max((row.at for r in found for rows in (r.movements, r.holds, r.releases) for row in rows), default=0)


def lots_there(conn: Link, until: int = FOREVER) -> dict[int, LotNow]:
    """Those of ``lots_now`` of which anything is in the practice or owed: few, however many there ever were."""
    kept = _open(conn, until)
    if until not in kept.there:
        lots = sorted(kept.states(until).items())
        kept.there[until] = {k: x for k, x in lots if x.state.inside() or any(x.state.short.values())}
    return kept.there[until]


def pulls_there(conn: Link, until: int = FOREVER) -> dict[int, Pull]:
    """P-number -> every kit taken out by ``until`` of a lot of which anything is there: all that can be out still."""
    lots, kept = lots_there(conn, until), _open(conn, until)
    if until not in kept.pulls:
        kept.pulls[until] = ledger.pulls_of(conn, lots.keys(), until)
    return kept.pulls[until]


def stood(conn: Link, place: str, until: int = FOREVER) -> list[LotNow]:
    """The lots of which any piece ever stood in a place by ``until``."""
    kept = _known(conn, "lots") or _known(conn, f"lots of {place}")
    if kept is None:
        keys = ledger.lots_of_place(conn, place)
        if len(keys) > MOST_NAMED:
            lots_now(conn, until)
            return stood(conn, place, until)
        kept = conn.info[f"lots of {place}"] = _read(conn, keys)
    return kept.stood_in(place, until)


def stood_lately(conn: Link, place: str, until: int, also: Collection[int]) -> list[LotNow]:
    """Those of them that have pieces in the practice or may have since the page, and ``also`` some that are over."""
    lots_besides(conn, until, also)
    kept = _open(conn, until)
    return sorted(kept.stood_in(place, until), key=lambda x: x.lot.key)


def lots_besides(conn: Link, until: int, also: Collection[int]) -> None:
    """Reads some lots that are over beside those that are open."""
    kept = _open(conn, until)
    if missing := [key for key in also if key not in kept.records]:
        kept.add(_read(conn, missing))


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


def lots_there_of(conn: Link, product: str, until: int = FOREVER) -> list[LotNow]:
    """Those of them of which anything is there or owed."""
    return [x for x in lots_there(conn, until).values() if x.lot.product == product]


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
