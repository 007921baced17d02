"""A fridge as it stands at an instant: last reading, missed checks, gaps, excursions, drift, calibration."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from stockroom.core.checks import StaffedDay, calibration, missed_checks
from stockroom.core.drift import Drift, drift
from stockroom.core.opening import Opening
from stockroom.core.practice import Fridge
from stockroom.core.records import HandCheck
from stockroom.core.spells import Gap, silence
from stockroom.core.stock import FOREVER
from stockroom.errors import Refused
from stockroom.store import Link, fridge_notes, fridges, ledger, practices
from stockroom.store.fridge_notes import Switch, on_at
from stockroom.store.once import once
from stockroom.store.open_page import FridgePage, fridge_pages
from stockroom.tasks.coldchain import history, strictest
from stockroom.tasks.excursions_now import ExcursionNow, excursions_of
from stockroom.tasks.rules import Rules, opening_of, rules, spans
from stockroom.tasks.shelves import LotNow, lots_besides, lots_there, stood, stood_lately

DRIFT_DAYS = 60


@dataclass(frozen=True, slots=True)
class FridgeNow:
    """One fridge at an instant. ``attention`` counts what nobody has answered yet."""

    fridge: Fridge
    last: tuple[int, int] | None
    missed: tuple[tuple[date, str], ...]
    gaps: tuple[Gap, ...]
    excursions: tuple[ExcursionNow, ...]
    drift: Drift | None
    calibration_overdue: bool
    silent: Gap | None
    """The silence that lasts and that no check by hand has answered today."""
    pieces: int
    off: bool
    checks_today: tuple[int, ...] = ()
    drift_explained: bool = False

    @property
    def attention(self) -> int:
        """How many things about it wait for a person."""
        return (
            sum(e.open for e in self.excursions)
            + len(self.missed)
            + (self.silent is not None)
            + self.calibration_overdue
            + (self.drift is not None and not self.drift_explained)
        )


def fridge_now(
    conn: Link, rule: Rules, name: str, until: int, since: int | None, pages: Mapping[int, FridgePage] | None = None
) -> FridgeNow:
    """One fridge as it stood at ``until``; only what reached past ``since``, where that is given.

    With ``pages`` of the fridges that were brought forward, its own among them, of its excursions and silences only
    those that were not over before its page.
    """
    fridge = rule.practice.fridge(name)
    if fridge is None:
        raise Refused("unknown-fridge", f'there is no fridge "{name}"', "see: stockroom practice show")
    key = ledger.place_key(conn, name)
    opening = rule.opening(fridge.site)
    today = opening.day(until)
    _, overdue = calibration(fridge.calibration_due, today)
    if key is None:
        return FridgeNow(fridge, None, (), (), (), None, overdue, None, 0, False)
    page = None if pages is None else pages.get(key)
    checks: Sequence[HandCheck]
    switches: Sequence[Switch]
    found: Sequence[ExcursionNow] = ()
    ended: Sequence[Gap] = ()
    if page is not None and not _stirred(conn, key, page):
        # No excursion since then: what stood there does not matter, what stands there does.
        here = stood_lately(conn, name, until, ())
        checks = fridges.hand_checks(conn, key, name, until, page.since)
        switches = fridge_notes.switches(conn, key, until)
    else:
        here = stood(conn, name, until) if page is None else stood_lately(conn, name, until, page.lots)
        known = history(conn, name, key, here, until=until, lately=page)
        checks, switches, ended = known.checks, known.switches, known.silences
        found = excursions_of(conn, known, here, until, None if page is None else pages)
    off = not on_at(switches, until)
    past = past_of(conn, name, key, until)
    made = [c.at for c in checks]
    newest = fridges.last_reading(conn, key, until)
    pieces = sum(x.state.quantity(name) for x in here)
    # Switched off excuses an empty fridge only: stock that was put in all the same has to be looked after.
    holes, silent = _silences(past, ended, newest, made, until, off and not pieces)
    first = first_use_of(here, checks, name) if page is None else min(page.first_use, first_use_of(here, checks, name))
    missed = missed_checks_of(past, switches, made, until, first, page)
    # Where only what is open is asked for nobody asks whether it drifts.
    drifting = None if newest is None or page is not None else _drift(conn, key, opening, today, switches)
    seen = ([] if newest is None else [newest]) + [(c.at, c.milli) for c in checks[-1:]]
    floor = -FOREVER if since is None else since
    return FridgeNow(
        fridge,
        max(seen, default=None),
        tuple(m for m in missed if opening.midnight(m[0]) >= floor),
        tuple(g for g in holes if g.end is None or g.end >= floor),
        tuple(e for e in found if e.open or e.lasts or (e.anchor_at if e.event is None else e.event.end or 0) >= floor),
        drifting,
        overdue,
        silent,
        pieces,
        off,
        tuple(at for at in made if opening.day(at) == today),
        drifting is not None and any(d >= drifting.since for d in past.explained),
    )


def fridge_seen(conn: Link, rule: Rules, name: str, at: int) -> FridgeNow:
    """One fridge at ``at`` by the rules of then, all that was ever known of it; read once in a look."""
    return once(conn, ("fridge", name, at), lambda: fridge_now(conn, rule, name, at, None))


def fridge_open(conn: Link, rule: Rules, name: str, at: int) -> FridgeNow:
    """One fridge at ``at`` by the rules of then, with every excursion that waits for anybody; of those that are over, and
    of its silences, only the late ones, and whether it drifts is left open. Read once in a look.
    """
    pages = fridge_pages(conn, at)
    key = ledger.place_key(conn, name)
    if key is None or key not in pages or fridges.anything_after(conn, key, at):
        return fridge_seen(conn, rule, name, at)
    return once(conn, ("open fridge", name, at), lambda: fridge_now(conn, rule, name, at, None, pages))


def fridges_open(conn: Link, rule: Rules, names: Sequence[str], at: int) -> list[FridgeNow]:
    """``fridge_open`` of some fridges; what stood in any of them is read at once."""
    keys = {key for name in names if (key := ledger.place_key(conn, name)) is not None}
    stirred = [page for key, page in fridge_pages(conn, at).items() if key in keys and _stirred(conn, key, page)]
    lots_besides(conn, at, {lot for page in stirred for lot in page.lots})
    return [fridge_open(conn, rule, name, at) for name in names]


def _stirred(conn: Link, key: int, page: FridgePage) -> bool:
    """True where an excursion of a fridge is anchored in the time that its page tells of."""
    return fridges.last_anchors(conn).get(key, -FOREVER) >= page.since


def in_use(conn: Link, name: str, at: int) -> bool:
    """True where a fridge is not switched off."""
    key = ledger.place_key(conn, name)
    return key is None or on_at(fridge_notes.switches(conn, key, at), at)


def first_use_of(lots: Sequence[LotNow], checks: Sequence[HandCheck], name: str) -> int:
    """Since when a fridge is in use: its first check by hand or the first stock in it."""
    stays = [s.start for x in lots for p in x.state.parcels for s in p.path() if s.place == name]
    made = [c.at for c in checks]
    return min([*stays, *made], default=FOREVER)


def _silences(
    past: "Past", ended: Sequence[Gap], newest: tuple[int, int] | None, checks: Sequence[int], until: int, off: bool
) -> tuple[list[Gap], Gap | None]:
    """(every silence by the rules of its time, the one that lasts and asks for a check by hand)."""
    fridge, opening = past.rules[-1][2], past.rules[-1][3]
    if fridge.logger_minutes is None or newest is None:
        return list(ended), None
    lasting = silence(newest[0], until, fridge.max_gap_minutes * 60)
    if lasting is None:
        return list(ended), None
    today = opening.midnight(opening.day(until))
    answered = any(c > lasting.start and c >= today for c in checks)
    explained = {opening.day(lasting.start), opening.day(until)} & past.explained
    return [*ended, lasting], None if answered or explained or off else lasting


@dataclass(frozen=True, slots=True)
class Past:
    """The rules of each span of time for one fridge, and the days that a person has explained."""

    rules: tuple[tuple[int, int, Fridge, Opening], ...]
    explained: frozenset[date]


def past_of(conn: Link, name: str, key: int, until: int) -> Past:
    """The rules and explanations of one fridge by an instant."""
    exceptions = practices.day_exceptions(conn, until)
    rows = []
    for start, end, practice in spans(conn):
        fridge = practice.fridge(name)
        if fridge is not None and start <= until:
            rows.append((start, end, fridge, opening_of(practice, fridge.site, exceptions)))
    days = frozenset(date.fromisoformat(d) for d in fridge_notes.explained_days(conn, key, until))
    return Past(tuple(rows), days)


def missed_checks_of(
    past: Past, switches: Sequence[Switch], checks: Sequence[int], until: int, first: int, page: FridgePage | None
) -> list[tuple[date, str]]:
    """Missed checks since the first use that nobody has explained, each day by the rules of its time; of the days before
    that of a page those that it has kept.
    """
    if first > until:
        return []
    begin, found = date.min, []
    if page is not None:
        kept = [(date.fromisoformat(day), check) for day, check in page.missed]
        begin, found = date.fromisoformat(page.day), [m for m in kept if m[0] not in past.explained]
    for start, end, fridge, opening in past.rules:
        days = []
        day, last = max(begin, opening.day(max(first, start))), opening.day(min(until, end - 1))
        while day <= last:
            hours, midnight = opening.day_spans(day), opening.midnight(day)
            ruled = start <= midnight < end
            if ruled and hours and day not in past.explained and _on(switches, hours[0][0], hours[-1][1]):
                following = opening.midnight(day + timedelta(days=1))
                days.append(StaffedDay(day, midnight, hours[0][0], hours[-1][1], following))
            day += timedelta(days=1)
        since = opening.midnight(opening.day(first))
        found += missed_checks(fridge.checks, days, checks, until, frozenset(), since)  # type: ignore[arg-type]
    return found


def _on(switches: Sequence[Switch], start: int, end: int) -> bool:
    """True where the fridge was in use all the time between two instants."""
    return on_at(switches, start) and all(s.on for s in switches if start < s.at <= end)


def _drift(conn: Link, key: int, opening: Opening, today: date, switches: Sequence[Switch]) -> Drift | None:
    """The drift of the daily means, days by the practice's own clock; one on which it was off tells nothing of it."""
    days = [today - timedelta(days=back) for back in range(DRIFT_DAYS, -1, -1)]
    midnights = [opening.midnight(day) for day in days]
    ends = dict(zip(midnights, [*midnights[1:], midnights[-1]], strict=True))
    day_of = dict(zip(midnights, days, strict=True))
    means = fridges.means(conn, key, midnights)
    return drift([(day_of[at], mean / 1000) for at, mean in means if _on(switches, at, ends[at])], today)


@dataclass(frozen=True, slots=True)
class FridgeReport:
    """What ``fridge check`` answers."""

    as_of: int
    fridges: tuple[FridgeNow, ...]

    @property
    def attention(self) -> int:
        """How many things wait for a person."""
        return sum(f.attention for f in self.fridges)


def check(
    conn: Link, as_of: int, *, fridge: str | None = None, since: int | None = None, site: str | None = None
) -> FridgeReport:
    """Every fridge of the practice (or site), or the one named, as of an instant."""
    rule = rules(conn, as_of)
    sites = rule.sites(site)
    names = [f.name for f in rule.practice.fridges if f.site in sites and fridge in (None, f.name)]
    if since is None:
        return FridgeReport(as_of, tuple(fridge_seen(conn, rule, n, as_of) for n in names))
    return FridgeReport(as_of, tuple(fridge_now(conn, rule, n, as_of, since) for n in names))


def limits_inside(conn: Link, rule: Rules, fridge: Fridge, at: int) -> tuple[int, int]:
    """(low, high): the strictest limits of a fridge and of what stands in it at an instant."""
    inside = {x.lot.product for x in lots_there(conn, at).values() if x.state.quantity(fridge.name)}
    return strictest(fridge, rule.practice, inside)
