"""How the warm-up plan looks on the screen: a line for each booking, what needs somebody first."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from stockroom.cli.show import Screen
from stockroom.core.units import few
from stockroom.core.when import day_text, local_text
from stockroom.tasks.act import CAUTIONS

if TYPE_CHECKING:
    from stockroom.core.warmup import Row
    from stockroom.tasks.broken_plan import Broken
    from stockroom.tasks.door_list import DoorList
    from stockroom.tasks.in_vain import InVain
    from stockroom.tasks.offer_times import Offered
    from stockroom.tasks.warm_plan import WarmPlan

SHORTEST = 12
"""No narrower is the column of kits made, however narrow the screen is."""
URGENT = ("late", "blocked", "short", "due")


def draw_plan(
    screen: Screen, plan: "WarmPlan", broken: "Sequence[Broken]", vain: "Sequence[InVain]", zone: ZoneInfo
) -> None:
    """The days ahead, a line for each booking, and under them what has to be done."""
    if not plan.rows:
        screen.line("No coming booking needs a kit from the fridge.")
    else:
        _calendar(screen, plan.rows, zone, plan.as_of)
        _steps(screen, plan.rows, broken)
        _first_of_each(screen, plan.rows)
    for u in vain:
        screen.finding(u.finding)
    for pull, why in plan.kits.unusable:
        screen.alert(f"P-{pull.number} ({pull.product}) is out and {why}: do not use it")
    if any(r.state == "ready" for r in plan.rows):
        screen.note("ready: its time out of the fridge has been reached; nobody measured how warm it is")


def draw_rows(screen: Screen, rows: "Sequence[Row]", zone: ZoneInfo, now: int, *, steps: bool = True) -> None:
    """The bookings of some rows, a line for each, then the next step for those that need somebody."""
    if rows:
        _calendar(screen, rows, zone, now)
        if steps:
            _steps(screen, rows, ())


def _calendar(screen: Screen, rows: "Sequence[Row]", zone: ZoneInfo, now: int) -> None:
    """A heading for each day and a line for each booking on it, none wider than the screen.

    A booking that wants several kits has the line of the one that needs somebody most, and says how many there are.
    """
    bookings: dict[int, list[Row]] = {}
    for r in rows:
        bookings.setdefault(r.booking, []).append(r)
    worst = [min(same, key=lambda r: _URGENCY.index(r.state)) for same in bookings.values()]
    number = max(len(f"B-{r.booking}") for r in worst)
    kits = {r.booking: _kits(bookings[r.booking], r) for r in worst}
    beside = max(len(_when(r, zone, now)) for r in worst) + number + 24  # clock, state and the blanks between
    kit = min(max(len(text) for text in kits.values()), max(SHORTEST, screen.width - beside))
    days: dict[date, list[Row]] = {}
    for r in worst:
        days.setdefault(datetime.fromtimestamp(r.start, zone).date(), []).append(r)
    for day, on in days.items():
        screen.heading(day_text(day))
        for r in on:
            state = f"! {r.state.upper()}" if r.state in URGENT else f"  {r.state}"
            lead = f"  {_clock(r.start, zone)}  {f'B-{r.booking}':{number}}  {state:9}"
            text = f"{lead}  {_clipped(kits[r.booking], kit):{kit}}  {_when(r, zone, now)}"
            screen.row(text, "bold" if r.state in URGENT else "")


def _clipped(text: str, most: int) -> str:
    """The product and the end of its lot, by which lots differ, where the whole would push the time off the screen."""
    if len(text) <= most:
        return text
    head, mark, lot = text.partition(" lot ")
    room = most - len(head + mark) - 1
    return f"{head}{mark}…{lot[-room:]}" if mark and room > 3 else f"{text[: most - 1]}…"


_URGENCY = ("short", "blocked", "late", "due", "planned", "warming", "ready")


def _kits(same: "Sequence[Row]", worst: "Row") -> str:
    which = f" P-{worst.pull}" if worst.pull is not None else f" lot {worst.lot}" if worst.lot else ""
    return f"{worst.product}{which}" + (f" +{len(same) - 1}" if len(same) > 1 else "")


def _steps(screen: Screen, rows: "Sequence[Row]", broken: "Sequence[Broken]") -> None:
    """What somebody has to do, once for bookings that lack the same; and what broke them."""
    alike: dict[tuple[str, str], list[Row]] = {}
    for r in rows:
        if r.state in URGENT:
            alike.setdefault((r.product, r.why), []).append(r)
    told = {b.booking: b for b in broken if b.entry is not None}
    for (product, why), same in alike.items():
        names = list(dict.fromkeys(f"B-{r.booking}" for r in same))
        screen.alert(f"{few(names)} {product}: {why}")
        said: dict[str, list[str]] = {}
        for r in same:
            if r.booking in told:
                said.setdefault(told[r.booking].what, []).append(f"B-{r.booking}")
        for what, numbers in said.items():
            broke = (
                f"{few(list(dict.fromkeys(numbers)))} had a kit until"
                if len(said) > 1 or len(names) > 1
                else "broken by"
            )
            screen.note(f"{broke} {what}")
        for todo in same[0].todos:
            screen.todo(f"stockroom {todo}")


def _first_of_each(screen: Screen, rows: "Sequence[Row]") -> None:
    """For the states that need nobody now: what to type next, with the first booking of each as the example."""
    words = {"planned": "planned: ", "warming": "warming: ", "ready": "ready, when it is over: "}
    for state, lead in words.items():
        first = next((r for r in rows if r.state == state and r.todo), None)
        if first is not None:
            screen.note(f"{lead}stockroom {first.todo}")


def _when(r: "Row", zone: ZoneInfo, now: int) -> str:
    if r.pull is not None:
        if r.state == "warming" and r.ready_at is not None:
            return f"warm {local_text(r.ready_at, zone, now)}"
        return "out" if r.use_by is None else f"use by {local_text(r.use_by, zone, now)}"
    if r.take_out_staffed_by is None or r.state in ("late", "short", "blocked"):
        return "" if r.earliest_start is None else f"from {local_text(r.earliest_start, zone, now)}"
    return f"take out by {local_text(r.take_out_staffed_by, zone, now)}"


def draw_list(screen: Screen, door: "DoorList", zone: ZoneInfo, file: str | None) -> None:
    """The sheet for the fridge door, or where it was written to."""
    from stockroom.pages.door import take_out_time

    screen.heading(f"To take out on {day_text(door.day)}" + ("" if file is None else f": {file}"))
    if not door.take:
        screen.note("nothing")
        return
    lines = [
        [
            take_out_time(t, zone), t.row.place or "", t.row.product, t.row.lot or "",
            "" if t.expiry is None else t.expiry.isoformat(), f"B-{t.row.booking}", "[ ] ____",
        ]
        for t in door.take
    ]  # fmt: skip
    screen.table(["time", "fridge", "kit", "lot", "expiry", "booking", "out, by"], lines)
    screen.todo(f"when it is out: stockroom warmup pull B-{door.take[0].row.booking}")
    for text in (*CAUTIONS, *door.words):
        screen.caution(text)


def _clock(at: int | None, zone: ZoneInfo) -> str:
    return "" if at is None else datetime.fromtimestamp(at, zone).strftime("%H:%M")


def draw_offers(screen: Screen, found: "Offered", zone: ZoneInfo, now: int) -> None:
    """Times that can be offered, a line a day and span."""
    screen.heading(f"{found.procedure} ({found.minutes} minutes) could start")
    if not found.offers:
        screen.alert("at no time in these days")
    rows = [
        [
            day_text(o.day),
            _clock(o.first, zone) if o.first == o.last else f"{_clock(o.first, zone)} to {_clock(o.last, zone)}",
            "a kit is out" if o.kit == "out" else f"take out by {local_text(o.take_out_by, zone, now)}" if o.take_out_by else "",
        ]
        for o in found.offers
    ]  # fmt: skip
    if rows:
        screen.table(["day", "start", "kit"], rows)
    for d, why in found.none:
        screen.note(f"{day_text(d)}: {why}")
    screen.note("It knows opening hours and kits, not chairs or clinicians.")


def draw_pulls(screen: Screen, pulls: Sequence[dict[str, Any]], zone: ZoneInfo, now: int) -> None:
    """What to write on each kit."""
    for p in pulls:
        ready = _read(p["ready_at"], zone, now)
        until = _read(p["use_by"], zone, now) if p["use_by"] else "ask the maker"
        screen.note(f"{p['pull']}  {p['product']} lot {p['lot']} from {p['from']}: warm {ready}, use by {until}")
    if pulls:
        named = " ".join(p["pull"] for p in pulls)
        screen.note(f"to print a label: stockroom warmup labels {named} --out labels.html")


def _read(text: str, zone: ZoneInfo, now: int) -> str:
    return local_text(int(datetime.fromisoformat(text).timestamp()), zone, now)
