"""Readings, checks and lines -> excursions with lasting numbers.

An event is what the readings on record say happened on one line of one fridge; an excursion is an event that has a
number. A number is tied to its anchor, the first reading out of range that was known when it was given, so that late
data may change the figures of an excursion but never which one it is.
"""

import json
from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stockroom.core.exposure import mkt
from stockroom.core.handchecks import covered, hand_spells, uncovered_seconds
from stockroom.core.practice import Fridge
from stockroom.core.records import HandCheck
from stockroom.core.spells import Gap, Line, Spell, gaps, spells

Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Event:
    """What happened on one line of a fridge. Lengths in minutes; ``end`` None while it lasts.

    ``first_out`` and ``last_out`` bracket the readings out of range; of a gap they are its first and last second, so
    that the reading which ends one silence and begins the next belongs to the next.
    """

    source: str
    direction: str | None
    limit: int | None
    start: int
    end: int | None
    minutes: float | None
    minutes_at_most: float | None
    extreme: int | None
    degree_minutes: float | None
    mkt_celsius: float | None
    first_out: int
    last_out: int
    since_check: bool = True
    """Of a check by hand: whether one came before it, so that it is known since when at most."""

    def figures(self) -> str:
        """The figures that a decision is taken on, as text that compares."""
        return json.dumps([self.start, self.end, self.minutes, self.minutes_at_most, self.extreme, self.degree_minutes])


def lines_of(fridge: Fridge, keeps: Iterable[tuple[int | None, int | None]]) -> list[Line]:
    """The fridge's own lines and those of each (low, high) that a product is kept to; equal lines are one."""
    limits = {("cold", fridge.low), ("warm", fridge.high)}
    for low, high in keeps:
        if low is not None:
            limits.add(("cold", low))
        if high is not None:
            limits.add(("warm", high))
    return [Line("warm" if d == "warm" else "cold", limit) for d, limit in sorted(limits)]


@dataclass(frozen=True, slots=True)
class Found:
    """A spell on a line (or a silence: only its instants count), with its mean kinetic temperature in °C."""

    spell: Spell
    mkt: float


def found_spells(at: Ints, milli: Ints, line: Line, max_gap_seconds: int, settle_seconds: int) -> list[Found]:
    """Every spell of a logger series on one line."""
    return [Found(s, _spell_mkt(s, at, milli, line)) for s in spells(at, milli, line, max_gap_seconds, settle_seconds)]


def found_silences(at: Ints, max_gap_seconds: int) -> list[Found]:
    """Every silence between the readings of a logger series, in the form of a spell."""
    return [
        Found(Spell(g.start, g.end, 0.0, g.start, g.end, 0, 0.0, g.start, g.end or g.start), 0.0)
        for g in gaps(at, max_gap_seconds)
    ]


def _spell_mkt(s: Spell, at: Ints, milli: Ints, line: Line) -> float:
    inside = slice(int(np.searchsorted(at, s.first_out)), int(np.searchsorted(at, s.last_out, side="right")))
    when, degrees = at[inside], milli[inside]
    # The crossings themselves belong to the excursion: there the temperature equals the limit.
    if s.start < s.first_out:
        when, degrees = np.insert(when, 0, s.start), np.insert(degrees, 0, line.limit)
    if s.end is not None and s.end > s.last_out:
        when, degrees = np.append(when, s.end), np.append(degrees, line.limit)
    return round(mkt(when, degrees), 3)


def logger_event(found: Found, line: Line, over: int | None = None) -> Event:
    """A spell as an event. ``over``: when its rules ended; what lasted to its last reading then ended with them."""
    s = found.spell
    at_most = s.minutes_at_most
    if at_most is None and over is not None:
        at_most = round((over - (s.first_out if s.at_most_from is None else s.at_most_from)) / 60, 2)
    return Event(
        "logger",
        line.direction,
        line.limit,
        s.start,
        s.last_out if s.end is None and over is not None else s.end,
        s.minutes,
        at_most,
        s.extreme,
        round(s.degree_minutes, 2),
        found.mkt,
        s.first_out,
        s.last_out,
    )


def hand_events(checks: Sequence[HandCheck], line: Line, in_use_since: int) -> list[Event]:
    """Every excursion of one line that checks by hand tell of: how long is not known, only at most how long.

    What the very first check shows may have been so ever since the fridge was in use.
    """
    found = []
    for s in hand_spells(checks, line):
        at_most = None if s.at_most_seconds is None else round(s.at_most_seconds / 60, 2)
        last = checks[-1].at if s.end is None else s.end
        found.append(
            Event(
                "hand", line.direction, line.limit, s.start if s.since_check else min(s.start, in_use_since), s.end, None,
                at_most, s.extreme, None, None, s.anchor_at, max(last, s.anchor_at), s.since_check,
            )
        )  # fmt: skip
    return found


def gap_events(
    silences: Sequence[Gap],
    checks: Sequence[HandCheck],
    low: int,
    high: int,
    hold_hours: float,
    idle: Sequence[tuple[int, int]] = (),
) -> list[Event]:
    """Ended silences of the logger that are held for a decision: longer than ``hold_hours`` without a bracket.

    A silence is bracketed where checks by hand show a min and a max in [low, high] for it; what counts is the
    longest stretch of it that no such check covers and that lies outside ``idle`` (spans in which nothing was at stake).
    """
    vouched = [(a, b) for a, b, lowest, highest in covered(checks) if low <= lowest and highest <= high] + [*idle]
    found = []
    for gap in silences:
        if gap.end is None or gap.end - gap.start <= hold_hours * 3600:
            continue
        if uncovered_seconds(gap.start, gap.end, vouched) <= hold_hours * 3600:
            continue
        minutes = round((gap.end - gap.start) / 60, 2)
        last = gap.end - 1
        found.append(Event("gap", None, None, gap.start, gap.end, None, minutes, None, None, None, gap.start, last))
    return found


@dataclass(frozen=True, slots=True)
class Numbered:
    """An event with its number, and the higher numbers that turned out to be the same event."""

    event: Event
    number: int | None
    others: tuple[int, ...] = ()


def numbered(
    events: Sequence[Event], anchors: Sequence[tuple[int, str, str | None, int | None, int]]
) -> list[Numbered]:
    """Ties events to (number, source, direction, limit, anchor instant): the lowest number inside an event stands."""
    by_line: dict[tuple[str, str | None, int | None], list[tuple[int, int]]] = {}
    for number, source, direction, limit, at in anchors:
        by_line.setdefault((source, direction, limit), []).append((at, number))
    for rows in by_line.values():
        rows.sort()
    found = []
    for event in events:
        near = by_line.get((event.source, event.direction, event.limit), [])
        first = bisect_left(near, (event.first_out,))
        last = bisect_left(near, (event.last_out + 1,))
        inside = sorted(number for _, number in near[first:last])
        found.append(Numbered(event, inside[0] if inside else None, tuple(inside[1:])))
    return found


def overlapping(a: Event, b: Event) -> bool:
    """True where two events on the same side share any time: a logger's and a hand's record of one thing."""
    if a.direction != b.direction:
        return False
    return (b.end is None or a.start <= b.end) and (a.end is None or b.start <= a.end)
