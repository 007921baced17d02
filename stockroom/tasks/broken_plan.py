"""What broke a booking that was served before: the record, or the time, after which no kit could serve it any more.

Nothing about the plan is kept: it is made anew as of earlier instants. Between the moment at which a booking came to be
as it is and now, halving finds a change after which it needs help while before it did not. Who takes kits away is told at
once which bookings that breaks, from the plan before and the plan after.
"""

import contextlib
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass

from stockroom.core.warmup import Row
from stockroom.core.when import local_text
from stockroom.store import Link, bookings, entries, ledger, practices
from stockroom.tasks.act import Recording
from stockroom.tasks.rules import Rules, rules
from stockroom.tasks.shelves import lots_now
from stockroom.tasks.warm_plan import HELP, WarmPlan, warm_plan

MOST_PLANS, MOST_NEEDS = 60, 20_000
"""How many plans are made at most, and how many bookings in all of them together: a look stays a look."""


@dataclass(frozen=True, slots=True)
class Broken:
    """A booking that was served until ``since``; ``entry`` is the record that changed that, None where time did."""

    booking: int
    state: str
    since: int
    entry: int | None
    what: str


def broken(conn: Link, rule: Rules, plan: WarmPlan, site: str | None) -> tuple[Broken, ...]:
    """What broke each booking of a plan that is late, blocked or short and was served before, by start."""
    wrong = {r.booking: r.state for r in plan.rows if r.state in HELP}
    if not wrong:
        return ()
    changes = _changes(conn, rule, plan.as_of)
    moments = sorted({*changes, plan.as_of})
    seen: dict[int, dict[int, str]] = {plan.as_of: wrong}

    def needing(at: int) -> dict[int, str]:
        if at not in seen:
            made = warm_plan(conn, at, site=site, cures=False)
            served = {r.booking: r.state for r in made.rows if r.state not in HELP}
            seen[at] = {r.booking: r.state for r in made.rows if r.state in HELP}
            # One that is not in the plan at all was not served then.
            seen[at] |= {n: "" for n in wrong if n not in served and n not in seen[at]}
        return seen[at]

    most = min(MOST_PLANS, MOST_NEEDS // max(1, len(plan.needs)))
    found = []
    for number, state in wrong.items():
        since = plan.bookings[number].changed_at
        mine = [at for at in moments if at >= since] or [plan.as_of]
        # What was looked at for another booking narrows it already.
        low = max((i for i, at in enumerate(mine) if at in seen and number not in seen[at]), default=0)
        high = min((i for i, at in enumerate(mine) if i > low and at in seen and number in seen[at]), default=0)
        if len(seen) > most or high <= low or number in needing(mine[low]):
            continue  # it never was, or the diary is too large to ask for every booking
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if number in needing(mine[middle]) else (middle, high)
        found.append(_told(conn, rule, number, state, mine[high], changes, number in needing(mine[high] - 1)))
    return tuple(found)


def _told(
    conn: Link, rule: Rules, number: int, state: str, at: int, changes: dict[int, list[int]], by_time: bool
) -> Broken:
    """Names the record at the instant that broke it; where it was broken the second before, time had done it."""
    if by_time or at not in changes:
        gone = "a kit's last day or its use-by has come" if state == "short" else "the time to take a kit out went by"
        return Broken(number, state, at, None, gone)
    entry = entries.entries(conn, only=changes[at][-1])[0]
    when = local_text(at, rule.zone, at)
    return Broken(number, state, at, entry.n, f"R-{entry.n}, {when}, {entry.by}: {entry.what}")


def _changes(conn: Link, rule: Rules, until: int) -> dict[int, list[int]]:
    """Instant -> the entries that changed kits that warm, bookings, opening hours or rules then, in order."""
    found: dict[int, list[int]] = {}
    warms = {p.code for p in rule.practice.products if p.warms}
    for now in lots_now(conn, until).values():
        if now.lot.product in warms:
            for rows in (now.records.movements, now.records.holds, now.records.releases):
                for row in rows:
                    found.setdefault(row.at, []).append(row.entry)
    for at, entry in [*bookings.changes(conn), *practices.changes(conn), *ledger.promises(conn)]:
        found.setdefault(at, []).append(entry)
    return {at: sorted(set(rows)) for at, rows in found.items() if at <= until}


@contextlib.contextmanager
def telling_broken(rec: Recording, products: Collection[str], sites: Iterable[str]) -> Iterator[list[str]]:
    """Says which coming bookings had a kit before what is recorded inside and have none, or none in time, after it.

    The list holds their B-numbers in the end. ``products``, ``sites``: of the kits that may go. It is judged at the
    instant of the act; what has been cured since, or is over, is not told. Where no product warms no plan is made.
    """
    broken: list[str] = []
    warm = [p for p in rec.rules.practice.products if p.warms and p.code in products]
    sites = tuple(dict.fromkeys(sites)) if warm else ()
    before = _lacking(rec.conn, rec.rules, rec.act.at, sites)
    yield broken
    after = _lacking(rec.conn, rec.rules, rec.act.at, sites)
    lost = [who for who, rows in after.items() if len(rows) > len(before.get(who, ()))]
    if lost and rec.act.at < rec.act.now:
        lost = _still(rec, lost, sites)
    said = _lacking(rec.conn, rec.rules, rec.act.at, sites, ways=True) if lost else {}
    first: dict[int, Row] = {}
    for who in lost:
        first.setdefault(who[0], said[who][-1])
    for number, row in first.items():
        broken.append(f"B-{number}")
        # One look answers for all of them: it stands under the last one.
        todo = "stockroom warmup check" if len(broken) == len(first) else ""
        rec.note("broken-plan", f"B-{number}: {row.state}: {row.why}", todo, urgent=True)


def sites_of(rec: Recording, places: Iterable[str]) -> list[str]:
    """The sites of some places; a kit that is out belongs to that of its fridge, a box to none."""
    places = set(places)
    out = any(place.startswith("P-") for place in places)
    pulls = {p.place: p.source for p in ledger.pulls(rec.conn).values()} if out else {}
    found = {rec.rules.practice.site_of(pulls.get(place, place)) for place in places}
    return sorted(site for site in found if site is not None)


Wanted = tuple[int, str]
"""(booking, product)."""


def _lacking(
    conn: Link, rule: Rules, at: int, sites: Collection[str], *, ways: bool = False
) -> dict[Wanted, list[Row]]:
    """The kits that bookings lack as things stand, by start; only with ``ways`` their rows are in full."""
    found: dict[Wanted, list[Row]] = {}
    for site in sites:
        for row in warm_plan(conn, at, site=site or None, rule=rule, cures=False, ways=ways).rows:
            if row.state in HELP:
                found.setdefault((row.booking, row.product), []).append(row)
    return found


def _still(rec: Recording, lost: Collection[Wanted], sites: Collection[str]) -> list[Wanted]:
    """Those of the kits lost in the past that a booking which stands still lacks; one that has begun lacks them for good."""
    now = rec.act.now
    lacking = _lacking(rec.conn, rules(rec.conn, now), now, sites)
    standing = bookings.bookings(rec.conn, now, standing=True)
    return [who for who in lost if who[0] in standing and (standing[who[0]].start <= now or who in lacking)]
