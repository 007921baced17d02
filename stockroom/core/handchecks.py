"""Checks by hand: the spells that their current, min and max readings tell of, and the time that they vouch for.

A display's min and max tell what happened since they were last reset, not when: such a spell has no minutes, only
a longest time that it can have lasted. A check that shows both is taken to have reset them. Hand readings are
never interpolated, neither among themselves nor with a logger's. A doubtful check counts like any other.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from stockroom.core.records import HandCheck

if TYPE_CHECKING:  # spells loads numpy, which nothing here needs: a check typed in by hand should answer at once
    from stockroom.core.spells import Line


@dataclass(frozen=True, slots=True)
class HandSpell:
    """A time out of range as hand checks tell of it, instants in UTC seconds.

    ``start`` is the check before which it cannot have begun (see ``hand_spells``), ``end`` the one after which it
    was over, None while it lasts. ``anchor_at`` is the first check that showed it, ``extreme`` the worst value
    shown. ``at_most_seconds`` is None while it lasts, or where no check came before it.
    """

    start: int
    end: int | None
    anchor_at: int
    extreme: int
    at_most_seconds: int | None
    since_check: bool = True
    """False where no check came before it: then nobody knows since when."""

    @property
    def minutes_at_most(self) -> float | None:
        """``at_most_seconds`` in minutes, 2 decimals."""
        return None if self.at_most_seconds is None else round(self.at_most_seconds / 60, 2)


class Covered(NamedTuple):
    """A span of time, in UTC seconds, and the lowest and highest temperature shown for it."""

    start: int
    end: int
    low: int
    high: int


def hand_spells(checks: Sequence[HandCheck], line: "Line") -> list[HandSpell]:
    """The spells that ``checks`` (of one fridge, sorted by instant) tell of on a line, in order of their anchors.

    A check is out where its current reading, or its max (warm) or min (cold), breaks the limit. Where it shows
    that max or min, the spell began after the previous check that reset them (one with both), or, without one,
    after the previous check; where it shows only a current reading out of range, after the previous check, whose
    current reading was still in range. It is over at the check itself where its current reading is in range,
    else at the first later one whose current reading is; the checks until then belong to the same spell.
    """
    groups: list[list[_Member]] = []
    running = False
    previous: int | None = None
    reset: int | None = None
    for check in checks:
        shown = check.high if line.direction == "warm" else check.low
        worst = check.milli if shown is None else max(check.milli, shown, key=line.beyond)
        if running or line.beyond(worst) > 0:
            member = _Member(check, worst, previous if shown is None or reset is None else reset)
            if running:
                groups[-1].append(member)
            else:
                groups.append([member])
        running = line.beyond(check.milli) > 0
        previous = check.at
        if check.low is not None and check.high is not None:
            reset = check.at
    return [_spell(group, line) for group in groups]


class _Member(NamedTuple):
    check: HandCheck
    worst: int
    since: int | None


def _spell(group: list[_Member], line: "Line") -> HandSpell:
    """The spell of the checks of one group: all but perhaps the last read out of range when they were made."""
    opening, closing = group[0], group[-1].check
    start = min(m.check.at if m.since is None else m.since for m in group if line.beyond(m.worst) > 0)
    end = closing.at if line.beyond(closing.milli) <= 0 else None
    return HandSpell(
        start=start,
        end=end,
        anchor_at=opening.check.at,
        extreme=max((m.worst for m in group), key=line.beyond),
        at_most_seconds=None if end is None or opening.since is None else end - start,
        since_check=opening.since is not None,
    )


def covered(checks: Iterable[HandCheck]) -> list[Covered]:
    """The spans that min and max readings vouch for: each from one check that shows both to the next such check.

    The current reading of that check, and of those in between, counts too: a display that shows a max of 5 and
    reads 9 vouches for nothing below 9.
    """
    found: list[Covered] = []
    reset: int | None = None
    seen: list[int] = []
    for check in checks:
        seen.append(check.milli)
        if check.low is None or check.high is None:
            continue
        if reset is not None:
            found.append(Covered(reset, check.at, min(check.low, *seen), max(check.high, *seen)))
        reset, seen = check.at, []
    return found


def uncovered(start: int, end: int, spans: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """What is left of [start, end] when ``spans`` (start, end; in any order, overlapping or not) are taken away."""
    left: list[tuple[int, int]] = []
    reached = start
    for first, last in sorted(spans):
        if first >= end:
            break
        if last <= first:  # two checks at one instant: a point, which parts nothing
            continue
        if first > reached:
            left.append((reached, first))
        reached = max(reached, last)
    if reached < end:
        left.append((reached, end))
    return left


def uncovered_seconds(gap_start: int, gap_end: int, covered_spans_in_range: Iterable[tuple[int, int]]) -> int:
    """The longest stretch of a gap, in seconds, that none of the spans covers; 0 where they cover it all.

    The spans are those of ``covered`` (as start, end) whose low and high the caller found in range.
    """
    return max((b - a for a, b in uncovered(gap_start, gap_end, covered_spans_in_range)), default=0)
