"""How fridges look on the screen: what to do first, then what happened."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from stockroom.cli.show import Screen
from stockroom.core.records import Finding
from stockroom.core.units import count, degrees, few, length, quoted
from stockroom.core.when import day_text, local_text
from stockroom.tasks.act import CAUTIONS
from stockroom.tasks.excursions_now import ExcursionNow, events_to_decide, foremost
from stockroom.tasks.fridge_now import FridgeNow, FridgeReport

SHOWN = 12


def draw_check(
    screen: Screen,
    report: FridgeReport,
    plans: Mapping[str, Sequence[Finding]],
    zone: ZoneInfo,
    words: Sequence[str],
) -> None:
    """Each fridge in turn: one line of how it is, what waits for a person and what to do, then what is past."""
    if not report.fridges:
        screen.line("The practice file has no fridge here.")
    for i, f in enumerate(report.fridges):
        if i:
            screen.line()
        _fridge(screen, f, plans.get(f.fridge.name, ()), zone, report.as_of)
    if any(e.open for f in report.fridges for e in f.excursions):
        for text in CAUTIONS:
            screen.caution(text)
        for text in words:
            screen.caution(text)


def _fridge(screen: Screen, f: FridgeNow, plan: Sequence[Finding], zone: ZoneInfo, now: int) -> None:
    last = "no reading yet" if f.last is None else f"{degrees(f.last[1])} at {local_text(f.last[0], zone, now)}"
    screen.heading(
        f"{f.fridge.name}: {last} (limits {degrees(f.fridge.low)} to {degrees(f.fridge.high)})"
        + (", off" if f.off else "")
    )
    shown, rest = foremost(events_to_decide(f.excursions))
    for e, others in shown:
        _event(screen, f, e, others, zone, now)
    if rest:
        screen.alert(f"{len(rest)} more wait: {few([f'E-{e.number}' for e in rest])}; --json has all")
    _steps(screen, plan)
    if f.missed:
        _missed(screen, f, datetime.fromtimestamp(now, zone).year)
    if f.calibration_overdue and f.fridge.calibration_due is not None:
        screen.alert(f"the probe's calibration was due on {day_text(f.fridge.calibration_due)}")
        screen.todo("have it calibrated, put its new day into the file, then: stockroom practice load PRACTICE.toml")
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
        latest = ", ".join(
            f"{local_text(g.start, zone, now)} ({length((g.end or g.start) - g.start)})" for g in gaps[-4:]
        )
        screen.note(f"{count(len(gaps), 'gap')} in the logger's readings: {latest}")
    if not f.attention and not plan and f.drift is None:
        screen.note("nothing waits for a person here")


def _event(screen: Screen, f: FridgeNow, e: ExcursionNow, others: list[str], zone: ZoneInfo, now: int) -> None:
    """What happened and what it touched; what to do about it stands in the plan."""
    screen.alert(f"E-{e.number}  {story(e, zone, now)}")
    for other in f.excursions:
        if f"E-{other.number}" in others:
            screen.note(f"E-{other.number}, the same event: {story(other, zone, now)}")
    if e.reopened:
        screen.note("late data changed it after it was decided: decide again")
    lots = ", ".join(f"{q} x {p} lot {x}" for p, x, q in e.lots)
    if lots:
        held = f"{count(e.held, 'piece')} held" if e.held else "none of it is held here now"
        screen.note(f"touched: {lots}; {held}")


def _steps(screen: Screen, plan: Sequence[Finding]) -> None:
    """The plan, numbered; each command on a line of its own, so that it can be copied."""
    for i, step in enumerate(plan, 1):
        # A silence has no line of its own above the plan.
        screen.step(i, step.what, urgent=step.slug == "silent")
        if step.todo:
            screen.todo(step.todo)


def story(e: ExcursionNow, zone: ZoneInfo, now: int) -> str:
    """What happened, in one sentence."""
    v = e.event
    if v is None:
        return "no reading supports it any more, but stock is still held for it"
    start = local_text(v.start, zone, now)
    if e.source == "gap":
        return f"silence of {length((v.end or v.start) - v.start)} from {start}: nobody knows"
    side = "above" if e.direction == "warm" else "below"
    if v.minutes is not None:
        lasted = f"{length(v.minutes * 60)} out of range"
        if v.minutes_at_most is not None:
            lasted += f" (at most {length(v.minutes_at_most * 60)})"
    else:
        lasted = "how long is not known" if v.minutes_at_most is None else f"at most {length(v.minutes_at_most * 60)}"
    lasts = ", AND IT LASTS" if v.end is None else ""
    by = ", seen by hand" if e.source == "hand" else ""
    return f"{side} {degrees(e.limit)} from {start}, worst {degrees(v.extreme)}, {lasted}{by}{lasts}"


def _past(e: ExcursionNow, zone: ZoneInfo, now: int) -> list[str]:
    v = e.event
    start = "" if v is None else local_text(v.start, zone, now)
    seconds = None if v is None else v.minutes if v.minutes is not None else v.minutes_at_most
    lasted = (
        ("" if v is None else "not known")
        if seconds is None
        else ("" if v is None or v.minutes is not None else "at most ") + length(seconds * 60)
    )
    made = e.decision
    state = "within its allowance" if e.within else f"decided: {made.verdict}, {made.by}" if made else "open"
    worst = "silence" if e.source == "gap" else degrees(v.extreme if v else None)
    return [f"E-{e.number}", start, lasted, worst, state]


def _missed(screen: Screen, f: FridgeNow, year: int) -> None:
    """The last of them, with the year where it is not that of now."""
    listed: list[tuple[date, str]] = list(f.missed)
    shown = ", ".join(f"{day_text(d).removesuffix(f' {year}')} {c}" for d, c in listed[-5:])
    more = f" and {len(listed) - 5} before" if len(listed) > 5 else ""
    screen.alert(f"{count(len(listed), 'check')} missed: {shown}{more}")
    screen.todo(f"stockroom fridge explain {listed[-1][0].isoformat()} --fridge {quoted(f.fridge.name)} --why …")


def draw_advice(screen: Screen, advice: Sequence[str]) -> None:
    """The plan as a recording command answers it, numbered; each command on a line of its own."""
    for i, step in enumerate(advice, 1):
        what, found, command = step.rpartition(": stockroom ")
        screen.step(i, what if found else step)
        if found:
            screen.todo(f"stockroom {command}")


def draw_import(screen: Screen, fields: Mapping[str, Any], zone: ZoneInfo, now: int) -> None:
    """What became of the lines of a logger file."""
    screen.note(
        f"{count(fields['lines'], 'line')}: {fields['added']} new, {fields['already_there']} already there, "
        f"{count(len(fields['conflicts']), 'conflict')}, {len(fields['rejected'])} left out"
    )
    for row in fields["rejected"][:5]:
        screen.note(f"line {row['line']}: {row['why']}")
    for row in fields["conflicts"][:5]:
        at = local_text(int(datetime.fromisoformat(row["at"]).timestamp()), zone, now)
        screen.note(f"line {row['line']}, {at}: kept {row['kept_celsius']} °C, the file says {row['other_celsius']} °C")
    if fields["gaps"]:
        screen.note(
            f"{count(len(fields['gaps']), 'gap')}: longest {length(max(g['minutes'] for g in fields['gaps']) * 60)}"
        )
