"""For the telephone: which start times could still be served, counting closures, stock and kits already out.

A start is offered where the whole procedure lies inside one staffed span and the kits that it needs would be
there in time without taking one from a booking that stands: the largest assignment must grow by as many kits.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from stockroom.core.allotment import Allotment, Need, allotments, want
from stockroom.core.matching import Spare
from stockroom.core.moments import Span
from stockroom.core.opening import DAY_MINUTES, Opening
from stockroom.core.practice import Practice, Procedure
from stockroom.core.takeout import FridgeStock, Kit, take_out, time_left
from stockroom.core.usage import used_by

GRID_MINUTES = 15

CLOSED = "nobody is in"
OVER = "it is over: nobody is in for long enough any more"
TOO_SHORT = "nobody is in for as long as it takes"
TOO_SOON = "too soon: no kit in the fridge could be warm by then, and none that is out would do"
NOBODY = "nobody is in to take a kit out at the right time"
NO_KIT = "no usable kit is left for it"


@dataclass(frozen=True, slots=True)
class Offer:
    """Starts from ``first`` to ``last`` every quarter of an hour, on one local day.

    ``kit``: "out" where kits that are out already would serve (one that a later booking could do without, too),
    "fridge" where one is to be taken out, "none" where the procedure needs no cold kit.
    ``take_out_by``: the last staffed moment to do so for the first of the starts.
    """

    day: date
    first: int
    last: int
    kit: str
    take_out_by: int | None


def offers(
    procedure: Procedure,
    cycles: int | None,
    practice: Practice,
    site: str,
    needs: Sequence[Need],
    out_kits: Sequence[Kit],
    fridge_stock: Sequence[FridgeStock],
    openings: Mapping[str, Opening],
    now: int,
    days: int,
) -> tuple[list[Offer], list[tuple[date, str]]]:
    """The starts from now on, for so many days with today, and the days without any, each with why.

    ``needs`` are all kits that standing bookings want. Raises: Refused for a number of cycles below zero.
    """
    opening = openings[site]
    used = used_by(procedure, cycles, {p.code: p for p in practice.products}).gross
    kits = {(site, p.code): used[p.code] for p in practice.products if p.warms and p.code in used}
    all_made = allotments(needs, out_kits, fridge_stock, practice, openings, now, besides=kits)
    asked = [
        (one, Spare(one.wants, one.options, one.given_to_wants), kits[site, one.product.code])
        for one in all_made
        if one.site == site and (site, one.product.code) in kits
    ]
    seconds = procedure.seconds(cycles)
    today = opening.day(now)
    found: list[Offer] = []
    none: list[tuple[date, str]] = []
    for day in (today + timedelta(days=n) for n in range(days)):
        of_day, why_not = _day(opening, asked, seconds, now, day)
        found += of_day
        if not of_day:
            none.append((day, why_not))
    return found, none


Asked = tuple[Allotment, Spare, int]
"""One product that the procedure needs: its allotment, what that leaves over, how many kits."""


def _day(opening: Opening, asked: Sequence[Asked], seconds: int, now: int, day: date) -> tuple[list[Offer], str]:
    """Every quarter of an hour of the day at which the procedure fits is tried; and why not where none serves."""
    starts = starts_on(opening, day, seconds, now)
    found: list[Offer] = []
    reasons: set[str] = set()
    before = -1
    for position, start in starts:
        kit, take_out_by = _served(asked, start, start + seconds)
        if kit in (TOO_SOON, NOBODY, NO_KIT):
            reasons.add(kit)
            continue
        if found and position == before + 1 and found[-1].kit == kit:
            found[-1] = Offer(day, found[-1].first, start, kit, found[-1].take_out_by)
        else:
            found.append(Offer(day, start, start, kit, take_out_by))
        before = position
    if found:
        return found, ""
    if reasons:
        return [], next(r for r in (NO_KIT, NOBODY, TOO_SOON) if r in reasons)
    if not opening.day_spans(day):
        return [], CLOSED
    return [], OVER if starts_on(opening, day, seconds, opening.midnight(day)) else TOO_SHORT


def starts_on(opening: Opening, day: date, seconds: int, now: int) -> list[tuple[int, int]]:
    """(position on the grid, start) of all starts from ``now`` on at which the whole procedure is staffed."""
    spans: list[Span] = opening.spans(opening.midnight(day) - 86_400, opening.at(day, DAY_MINUTES) + 2 * 86_400)
    found: list[tuple[int, int]] = []
    for position in range(DAY_MINUTES // GRID_MINUTES):
        start = opening.at(day, position * GRID_MINUTES)
        if start >= now and any(a <= start and start + seconds <= b for a, b in spans):
            found.append((position, start))
    return found


def _served(asked: Sequence[Asked], start: int, end: int) -> tuple[str, int | None]:
    """From where all kits would come ("out", "fridge", "none") and by when; or why they would not."""
    kind, take_out_by = "none" if not asked else "out", None
    for one, spare, number in asked:
        warmup, left = one.product.warmup_seconds, time_left(one.product)
        times = take_out(start, end, warmup, left, one.opening, one.habit)
        wanted = want(one.now, start, end, times)
        if not spare.takes(wanted, number):
            if start - warmup < one.now:
                return TOO_SOON, None
            since = one.now if times.not_before is None else max(one.now, times.not_before)
            reachable = times.staffed_by is not None and times.staffed_by >= since
            return (NO_KIT if reachable else NOBODY), None
        in_time = wanted.out_for is not None and (left is None or wanted.out_for <= left)
        if in_time and not spare.idle_out(wanted, number):
            kind = "fridge"
            moment = times.staffed_by
            take_out_by = moment if take_out_by is None or moment is None else min(moment, take_out_by)
    return kind, take_out_by
