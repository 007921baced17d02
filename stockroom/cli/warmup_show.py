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
    from stockroom.tasks.offer_times import Offered
    from stockroom.tasks.warm_plan import WarmPlan

URGENT = ("late", "blocked", "short", "due")


def draw_plan(screen: Screen, plan: "WarmPlan", zone: ZoneInfo) -> None:
    """All rows, and under them what has to be done."""
    if not plan.rows:
        screen.line("No coming booking needs a kit from the fridge.")
    else:
        draw_rows(screen, plan.rows, zone, plan.as_of)
    for u in plan.unused:
        until = (
            "its time is over"
            if u.over
            else ""
            if u.use_by is None
            else f"use by {local_text(u.use_by, zone, plan.as_of)}"
        )
        text = f"P-{u.kit.pull} ({u.kit.product} lot {u.kit.lot_code}) is out and no booking uses it"
        screen.alert(text + (f"; {until}" if until else ""))
    for pull, why in plan.kits.unusable:
        screen.alert(f"P-{pull.number} ({pull.product}) is out and {why}: do not use it")
    if any(r.state == "ready" for r in plan.rows):
        screen.note("ready: its time out of the fridge has been reached; nobody measured how warm it is")


def draw_rows(screen: Screen, rows: "Sequence[Row]", zone: ZoneInfo, now: int, *, steps: bool = True) -> None:
    """A line for each kit that a booking needs, then the next step for those that need somebody."""
    if not rows:
        return
    lines = []
    for r in rows:
        state = f"! {r.state.upper()}" if r.state in URGENT else r.state
        kit = f"P-{r.pull}" if r.pull is not None else (f"lot {r.lot}" if r.lot else "")
        lines.append([f"B-{r.booking}", local_text(r.start, zone, now), r.product, state, kit, _when(r, zone, now)])
    screen.table(["booking", "start", "kit", "state", "which", "take out"], lines)
    alike: dict[tuple[str, str], list[Row]] = {}
    for r in rows:
        if steps and r.state in URGENT:
            alike.setdefault((r.product, r.why), []).append(r)
    for (product, why), same in alike.items():
        screen.alert(f"{few([f'B-{r.booking}' for r in same])} {product}: {why}")
        if same[0].todo:
            screen.todo(f"stockroom {same[0].todo}")


def _when(r: "Row", zone: ZoneInfo, now: int) -> str:
    if r.pull is not None:
        if r.state == "warming" and r.ready_at is not None:
            return f"out; warm {local_text(r.ready_at, zone, now)}"
        return "out" if r.use_by is None else f"out; use by {local_text(r.use_by, zone, now)}"
    if r.take_out_staffed_by is None or r.state in ("late", "short", "blocked"):
        return "" if r.earliest_start is None else f"earliest start {local_text(r.earliest_start, zone, now)}"
    return f"by {local_text(r.take_out_staffed_by, zone, now)}"


def draw_list(screen: Screen, day: date, rows: "Sequence[Row]", zone: ZoneInfo, words: Sequence[str]) -> None:
    """The sheet for the fridge door."""
    screen.heading(f"To take out on {day_text(day)}")
    if not rows:
        screen.note("nothing")
        return
    lines = [
        [_clock(r.take_out_staffed_by, zone), r.place or "", r.product, r.lot or "", f"B-{r.booking}", "[ ]", "______"]
        for r in rows
    ]
    screen.table(["by", "fridge", "kit", "lot", "booking", "done", "initials"], lines)
    screen.todo(f"when it is out: stockroom warmup pull B-{rows[0].booking}")
    for text in (*CAUTIONS, *words):
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


def _read(text: str, zone: ZoneInfo, now: int) -> str:
    return local_text(int(datetime.fromisoformat(text).timestamp()), zone, now)
