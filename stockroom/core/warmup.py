"""The warm-up plan: bookings x kits x opening hours -> what to take out when, one row per kit wanted.

Promises that a person made come first, then all other kits are given out at once (core/allotment.py). What is
left over decides whether a booking that is late or blocked would gain by moving. "Ready" says only that the time
is reached; nothing here says that a kit is fit for use.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from operator import attrgetter
from typing import NamedTuple

from stockroom.core.allotment import Allotment, Need, allotments, fits
from stockroom.core.moves import Moves
from stockroom.core.opening import DayException, Opening
from stockroom.core.practice import Practice
from stockroom.core.takeout import (
    FridgeStock,
    Kit,
    TakeOut,
    earliest_start_from_fridge,
    last_use,
    ready_at,
    time_left,
    use_by,
)

__all__ = ["ATTENTION", "FridgeStock", "Kit", "Need", "Row", "Unused", "plan", "ready_at", "use_by", "wasted"]

HELPLESS = ("late", "blocked", "short")
"""The states in which no kit serves the booking as things stand."""
ATTENTION = ("due", *HELPLESS)
"""The states that ask for somebody."""
ASK = "; how long it may be out is not known: ask the maker"
ONLY_HOURS = "opening hours only, not chairs or clinicians"


class Row(NamedTuple):
    """Whether one kit that a booking wants will be warm, and what to do about it; instants in UTC seconds.

    ``lot`` is a lot's code, ``place`` the fridge to take it from. ``why`` is for a person, ``todo`` a command,
    ``others`` are other commands that would help as well.
    """

    booking: int
    start: int
    end: int
    procedure: str
    product: str
    site: str
    state: str
    take_out_from: int | None
    take_out_by: int
    take_out_staffed_by: int | None
    lot: str | None = None
    place: str | None = None
    pull: int | None = None
    pulled_at: int | None = None
    ready_at: int | None = None
    use_by: int | None = None
    earliest_start: int | None = None
    quantity: int = 1
    spent: int = 0
    """Seconds out on earlier outings of the kit that is to be taken out."""
    why: str = ""
    todo: str = ""
    others: tuple[str, ...] = ()
    move_to: int | None = None
    """The start that ``todo`` proposes, where the booking is to be moved."""

    @property
    def todos(self) -> list[str]:
        """Every command that would help, the nearest first."""
        return [text for text in (self.todo, *self.others) if text]


@dataclass(frozen=True, slots=True)
class Unused:
    """A kit that is out and that no booking uses; ``over`` where its time out or its last day has passed."""

    kit: Kit
    use_by: int | None
    over: bool
    moves: tuple[tuple[int, int], ...] | None = None
    """(booking, start): bookings that would use it if they were moved there; None where they were not looked for."""


def plan(
    needs: Sequence[Need],
    out_kits: Sequence[Kit],
    fridge_stock: Sequence[FridgeStock],
    practice: Practice,
    openings: Mapping[str, Opening],
    now: int,
    *,
    ways: bool = True,
) -> list[Row]:
    """One row per need, by start. Products that need no warm-up have none.

    Only usable kits belong in ``out_kits`` and ``fridge_stock``: nothing held, nothing expired. Every site of a
    need stands in ``openings``. Without ``ways`` nobody looks for ways out: then rows that are late or blocked name
    none, and may be short.
    """

    def again(those: Sequence[Need]) -> list[Allotment]:
        return allotments(those, out_kits, fridge_stock, practice, openings, now)

    made = again(needs)
    rows: list[Row] = []
    helpless: list[tuple[Row, int]] = []
    for n, one in enumerate(made):
        for row in _rows(one):
            if row.state in ("late", "blocked"):
                helpless.append((row, n))
            else:
                rows.append(row)
    if not ways:
        rows += [row for row, _ in helpless]
    elif helpless:
        asked = {row.booking for row, _ in helpless}
        rows += _helped(helpless, made, Moves(needs, made, again, openings, now, asked))
    # Three sorts by one number or word each are faster than one by all three at once.
    for name in ("product", "booking", "start"):
        rows.sort(key=attrgetter(name))
    return rows


def wasted(rows: Iterable[Row], out_kits: Sequence[Kit], practice: Practice, now: int) -> list[Unused]:
    """The kits out that no row uses, first use-by first.

    One that a person took out besides for a booking that it can serve is not among them, nor one promised to a
    booking without a row (it has started, or lies beyond the days looked at), unless its time is over.
    """
    products = {p.code: p for p in practice.products}
    used: set[int | None] = set()
    wanting: dict[tuple[int | None, str], list[Row]] = {}
    promised = {(kit.promised_to, kit.product) for kit in out_kits}
    for row in rows:
        used.add(row.pull)
        if (row.booking, row.product) in promised:
            wanting.setdefault((row.booking, row.product), []).append(row)
    found: list[Unused] = []
    for kit in out_kits:
        product = products.get(kit.product)
        if product is None or kit.pull in used:
            continue
        limit = last_use(kit, product)
        over = limit is not None and limit <= now
        meant = wanting.get((kit.promised_to, kit.product), ())
        kept = kit.promised_to is not None and (not meant or any(fits(kit, product, r.start, r.end) for r in meant))
        if over or not kept:
            found.append(Unused(kit, use_by(kit, product), over))
    return sorted(found, key=lambda u: (u.use_by is None, u.use_by or 0, u.kit.pull))


def _rows(one: Allotment) -> list[Row]:
    """The rows of one product at one site, in the order of its needs; late and blocked ones without a way out yet."""
    rows: list[Row] = []
    usable: int | None = None
    for i, (need, times) in enumerate(zip(one.needs, one.times, strict=True)):
        source = one.source(i)
        if isinstance(source, Kit):
            rows.append(_row_of_kit(one, need, times, source))
        elif source is not None:
            rows.append(_row_from_fridge(one, need, times, source))
        else:
            usable = one.usable if usable is None else usable
            rows.append(_row_without(one, need, times, usable))
    return rows


Who = tuple[int, int, int, str, str, str]


def _who(need: Need) -> Who:
    """What every row begins with."""
    return need.booking, need.start, need.end, need.procedure, need.product, need.site


def _row_of_kit(one: Allotment, need: Need, times: TakeOut, kit: Kit) -> Row:
    """Ready or warming."""
    ready, limit = ready_at(kit, one.product), use_by(kit, one.product)
    warm = ready <= one.now
    hours = _hours(one.product.warmup_seconds)
    time = f"its {hours} are over; only the time is known" if warm else f"its {hours} end {one.opening.clock(ready)}"
    until = ASK if limit is None else f"; use it by {one.opening.clock(limit)}"
    why = f"P-{kit.pull} is out since {one.opening.clock(kit.pulled_at)}, {time}{until}"
    todo = f"booking done B-{need.booking}" if warm else f"warmup labels P-{kit.pull} --out labels.html"
    return Row(
        *_who(need), "ready" if warm else "warming", times.not_before, times.by, times.staffed_by,
        lot=kit.lot_code, pull=kit.pull, pulled_at=kit.pulled_at, ready_at=ready, use_by=limit, why=why, todo=todo,
    )  # fmt: skip


def _row_from_fridge(one: Allotment, need: Need, times: TakeOut, stock: FridgeStock) -> Row:
    """Due or planned: somebody can still take it out in time."""
    moment = times.by if times.staffed_by is None else times.staffed_by
    left = time_left(one.product, stock.out_before)
    since = None if left is None else need.end - left
    day, clock = one.opening.day_and_clock(moment)
    today = day == one.today
    early = "" if since is None or since <= one.now else f", not before {one.opening.clock(since)}"
    why = f"take it out of {stock.place} {'today ' if today else ''}by {clock}{early}{ASK if left is None else ''}"
    todo = f"warmup pull B-{need.booking}" if today else f"warmup list --day {day}"
    return Row(
        *_who(need), "due" if today else "planned", since, times.by, times.staffed_by,
        lot=stock.lot_code, place=stock.place, spent=stock.out_before, why=why, todo=todo,
    )  # fmt: skip


def _row_without(one: Allotment, need: Need, times: TakeOut, usable: int) -> Row:
    """Late or blocked; short where there would be time, and no kit is left."""
    row = Row(*_who(need), "short", times.not_before, times.by, times.staffed_by)
    moment, since = times.staffed_by, times.not_before
    if moment is not None and moment >= max(one.now, since or one.now):
        return _short(row, usable)
    return row._replace(state="late" if one.now > times.by else "blocked")


def _helped(helpless: Sequence[tuple[Row, int]], made: Sequence[Allotment], moves: Moves) -> list[Row]:
    """The rows that are late or blocked, by start, each with a start at which its booking could be served.

    A booking moves with all its kits; where they are never to be had together, each kit is looked at by itself.
    """
    found: list[Row] = []
    known: dict[int, tuple[int | None, int | None]] = {}
    never: dict[tuple[int, int], bool] = {}
    for row, n in sorted(helpless, key=lambda r: (r[0].start, r[0].booking)):
        who, one = (row.booking, row.site, row.end - row.start), made[n]
        if row.booking not in known:
            known[row.booking] = moves.earliest(*who), moves.propose(*who, row.start)
        earliest, later = known[row.booking]
        if earliest is not None:
            found.append(_moved(one, row._replace(earliest_start=earliest), later))
        elif (alone := moves.alone(*who, row.product)) is not None:
            found.append(_alone(one, row._replace(earliest_start=alone), alone))
        elif row.booking in moves.unsure or (
            moves.spare_kits(row.site, row.product) and _never(one, row.end - row.start, never, n)
        ):
            found.append(_moved(one, row, None))
        else:
            found.append(_short(row, one.usable))
    return found


def _never(one: Allotment, seconds: int, known: dict[tuple[int, int], bool], n: int) -> bool:
    """True where a fresh kit could serve nothing so long: no span is long enough, or its hours out are too few."""
    if (n, seconds) not in known:
        start = earliest_start_from_fridge(
            *(one.opening, one.habit, one.product, seconds, one.now), left=time_left(one.product), expiry_end=None
        )
        known[n, seconds] = start is None
    return known[n, seconds]


def _alone(one: Allotment, row: Row, start: int) -> Row:
    """Late or blocked, of a booking that lacks another kit as well: to move it would not help yet."""
    row = _moved(one, row, None)
    return row._replace(why=f"{row.why}; this kit by itself could serve from {one.opening.clock(start)} on")


def _moved(one: Allotment, row: Row, later: int | None) -> Row:
    """Late or blocked, with the ways out: somebody comes in, or it starts at ``later``."""
    clock = one.opening.clock
    first = max(one.now, one.now if row.take_out_from is None else row.take_out_from)
    ways: list[str] = []
    todos: list[str] = []
    if row.state == "late":
        what = f"it had to be out by {clock(row.take_out_by)} and no kit out can serve it"
    elif first > row.take_out_by:
        what = (
            f"warm-up and procedure take longer than the {_hours(one.product.max_out_seconds or 0)} that it may be out"
        )
    else:
        what = f"between {clock(first)} and {clock(row.take_out_by)} there is no staffed moment to take it out"
        span = _visit(one, first, row.take_out_by)
        ways.append("somebody comes in then" if span is None else f"somebody comes in {span[0]}")
        todos += [] if span is None else [span[1]]
    if later is not None:
        ways.append(f"it starts at {clock(later)} ({ONLY_HOURS})")
        todos.insert(0, f"booking move B-{row.booking} --start {one.opening.typed(later)}")
    elif not todos:
        todos = [f"warmup when {row.procedure}"]
    out = "; either " + ", or ".join(ways) if len(ways) > 1 else "".join(f"; {way}" for way in ways)
    ask = ASK if one.product.max_out_seconds is None else ""
    return row._replace(why=what + out + ask, todo=todos[0], others=tuple(todos[1:]), move_to=later)


VISIT = 900
"""Seconds that somebody is there before and after the moment of taking a kit out, where the margin asks for no more."""
AWAKE = (7, 20)
"""Hours of the day in which somebody is asked to come in, where there is such a moment."""


def _visit(one: Allotment, first: int, last: int) -> tuple[str, str] | None:
    """(when, the command that opens the practice) for the latest moment in [first, last] at which somebody could
    come in to take a kit out, by day rather than by night; None where coming in would not help."""
    opening, habit = one.opening, one.habit
    days = [opening.day(last) - timedelta(days=n) for n in range(8)]
    moments = [opening.at(day, minute) for day in days for minute in (habit.rounds or (60 * AWAKE[1],))]
    moments = sorted({m for m in (*moments, *(() if habit.rounds else (last,))) if first <= m <= last}, reverse=True)
    moments.sort(key=lambda m: not AWAKE[0] <= opening.hour(m) <= AWAKE[1])
    for moment in moments:
        day = opening.day(moment)
        around = max(VISIT, habit.margin)
        start = max(0, (moment - around - opening.midnight(day)) // 300 * 5)
        end = min(1440, -(-(moment + around - opening.midnight(day)) // 300) * 5)
        opened = opening.besides(DayException(day, True, start, end))
        found = opened.latest(last, habit.margin, habit.rounds, first)
        if found is not None:
            clock = f"--from {start // 60:02}:{start % 60:02} --to {end // 60:02}:{end % 60:02}"
            return f"at {opening.clock(found)}", f'practice open {day} {clock} --why "to take out a kit"'
    return None


def _short(row: Row, usable: int) -> Row:
    """No usable kit is left for it, at its own time or, where that is past helping, at a later one."""
    if not usable:
        what = f"there is no usable {row.product}"
    else:
        what = f"none of the {usable} usable {row.product} is left that lasts until it ends"
    if row.state != "short":
        what += "; it cannot be warm in time either, and a later start would not help"
    return row._replace(state="short", why=what, todo="reorder list")


def _hours(seconds: int) -> str:
    return f"{seconds / 3600:g} h"
