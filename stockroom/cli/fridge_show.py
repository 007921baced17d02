"""How fridges look on the screen: what to do first, then what happened."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from stockroom.cli.show import Screen
from stockroom.core.units import count, degrees
from stockroom.core.when import day_text, local_text
from stockroom.tasks.act import CAUTIONS
from stockroom.tasks.excursions_now import ExcursionNow, events_to_decide
from stockroom.tasks.fridge_now import FridgeNow, FridgeReport

SHOWN = 12


def draw_check(screen: Screen, report: FridgeReport, zone: ZoneInfo, now: int, words: Sequence[str]) -> None:
    """Each fridge in turn: one line of how it is, then what waits for a person, then what is past."""
    if not report.fridges:
        screen.line("The practice file has no fridge here.")
    for i, f in enumerate(report.fridges):
        if i:
            screen.line()
        _fridge(screen, f, zone, now)
    if any(e.open for f in report.fridges for e in f.excursions):
        for text in CAUTIONS:
            screen.caution(text)
        for text in words:
            screen.caution(text)


def _fridge(screen: Screen, f: FridgeNow, zone: ZoneInfo, now: int) -> None:
    last = "no reading yet" if f.last is None else f"{degrees(f.last[1])} at {local_text(f.last[0], zone, now)}"
    screen.heading(
        f"{f.fridge.name}: {last} (limits {degrees(f.fridge.low)} to {degrees(f.fridge.high)})"
        + (", off" if f.off else "")
    )
    for e, others in events_to_decide(f.excursions):
        _plan(screen, f, e, others, zone, now)
    if f.silent is not None:
        screen.alert(f"the logger is silent since {local_text(f.silent.start, zone, now)}: nobody knows how cold it is")
        screen.todo(f'check by hand: stockroom fridge log CELSIUS --min X --max Y --fridge "{f.fridge.name}"')
    if f.missed:
        _missed(screen, f)
    if f.calibration_overdue and f.fridge.calibration_due is not None:
        screen.alert(f"the probe's calibration was due on {day_text(f.fridge.calibration_due)}")
    if f.drift is not None:
        since = day_text(f.drift.since)
        screen.alert(
            f"drifting {f.drift.direction} since {since}: average {f.drift.ewma:.2f} °C, its limit {f.drift.limit:.2f} °C"
        )
        screen.todo("look at the door seal, the ice and the thermostat before it goes out of range")
    past = [e for e in f.excursions if not e.open]
    if past:
        screen.table(["past", "from", "out of range", "worst", "state"], [_past(e, zone, now) for e in past[-SHOWN:]])
        if len(past) > SHOWN:
            screen.note(f"and {len(past) - SHOWN} before; --json has all")
    gaps = [g for g in f.gaps if g.end is not None]
    if gaps:
        shown = ", ".join(
            f"{local_text(g.start, zone, now)} ({_length((g.end or g.start) - g.start)})" for g in gaps[-4:]
        )
        screen.note(f"{count(len(gaps), 'gap')} in the logger's readings: {shown}")
    if not f.attention and f.drift is None:
        screen.note("nothing waits for a person here")


def _plan(screen: Screen, f: FridgeNow, e: ExcursionNow, others: list[str], zone: ZoneInfo, now: int) -> None:
    """What to do about an excursion, in order."""
    screen.alert(f"E-{e.number}  {_story(e, zone, now)}")
    for other in f.excursions:
        if f"E-{other.number}" in others:
            screen.note(f"E-{other.number}, the same event: {_story(other, zone, now)}")
    if e.reopened:
        screen.note("late data changed it after it was decided: decide again")
    lots = ", ".join(f"{q} x {p} lot {x}" for p, x, q in e.lots)
    if lots:
        screen.note(
            f"touched: {lots}"
            + (f"; {count(e.held, 'piece')} held" if e.held else "; none of it is in the practice any more")
        )
    if e.elsewhere:
        screen.note(f"{count(e.elsewhere, 'piece')} of them were elsewhere by a later entry: no longer supported")
        screen.todo("stockroom stock release PRODUCT LOT --place PLACE --why …")
    if e.lasts and f.pieces:
        screen.todo(f'move the stock now: stockroom stock move --all --from "{f.fridge.name}" --to PLACE')
    if e.held:
        screen.todo("do not use it; ask the maker or the responsible clinician")
    screen.todo(f"then decide: stockroom fridge decide E-{e.number} --release|--discard --why … --answer …")


def _story(e: ExcursionNow, zone: ZoneInfo, now: int) -> str:
    v = e.event
    if v is None:
        return "no reading supports it any more, but stock is still held for it"
    start = local_text(v.start, zone, now)
    if e.source == "gap":
        return f"silence of {_length((v.end or v.start) - v.start)} from {start}: nobody knows"
    side = "above" if e.direction == "warm" else "below"
    if v.minutes is not None:
        length = f"{_length(v.minutes * 60)} out of range"
        if v.minutes_at_most is not None:
            length += f" (at most {_length(v.minutes_at_most * 60)})"
    else:
        length = "how long is not known" if v.minutes_at_most is None else f"at most {_length(v.minutes_at_most * 60)}"
    lasts = ", AND IT LASTS" if v.end is None else ""
    by = ", seen by hand" if e.source == "hand" else ""
    return f"{side} {degrees(e.limit)} from {start}, worst {degrees(v.extreme)}, {length}{by}{lasts}"


def _past(e: ExcursionNow, zone: ZoneInfo, now: int) -> list[str]:
    v = e.event
    start = "" if v is None else local_text(v.start, zone, now)
    seconds = None if v is None else v.minutes if v.minutes is not None else v.minutes_at_most
    length = (
        "" if seconds is None else ("" if v is None or v.minutes is not None else "at most ") + _length(seconds * 60)
    )
    made = e.decision
    state = "within its allowance" if e.within else f"decided: {made.verdict}, {made.by}" if made else "open"
    worst = "silence" if e.source == "gap" else degrees(v.extreme if v else None)
    return [f"E-{e.number}", start, length, worst, state]


def _missed(screen: Screen, f: FridgeNow) -> None:
    listed: list[tuple[date, str]] = list(f.missed)
    shown = ", ".join(f"{day_text(d)} {c}" for d, c in listed[-5:])
    more = f" and {len(listed) - 5} before" if len(listed) > 5 else ""
    screen.alert(f"{count(len(listed), 'check')} missed: {shown}{more}")
    screen.todo(f'stockroom fridge explain {listed[-1][0].isoformat()} --fridge "{f.fridge.name}" --why …')


def _length(seconds: float) -> str:
    """``35 min``, ``4 h 10 min``, ``2 d 3 h``."""
    minutes = round(seconds / 60)
    if minutes < 120:
        return f"{minutes} min" if seconds >= 600 else f"{seconds / 60:.1f} min"
    hours, left = divmod(minutes, 60)
    if hours < 48:
        return f"{hours} h {left} min" if left else f"{hours} h"
    return f"{hours // 24} d {hours % 24} h"


def draw_import(screen: Screen, fields: Mapping[str, Any]) -> None:
    """What became of the lines of a logger file."""
    screen.note(
        f"{fields['lines']} lines: {fields['added']} new, {fields['already_there']} already there, "
        f"{count(len(fields['conflicts']), 'conflict')}, {len(fields['rejected'])} left out"
    )
    for row in fields["rejected"][:5]:
        screen.note(f"line {row['line']}: {row['why']}")
    for row in fields["conflicts"][:5]:
        screen.note(
            f"line {row['line']}, {row['at']}: kept {row['kept_celsius']} °C, the file says {row['other_celsius']} °C"
        )
    if fields["gaps"]:
        screen.note(
            f"{count(len(fields['gaps']), 'gap')}: longest {_length(max(g['minutes'] for g in fields['gaps']) * 60)}"
        )
