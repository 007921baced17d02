"""What chance decides in a rehearsal, and what whoever orders makes of it: what is booked by then, and what is kept besides."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from stockroom.core.kept_levels import Booked, Kept, Span, Unbooked, kept
from stockroom.core.play import Counts, Drawn, Rates
from stockroom.core.turns import Turn
from stockroom.tasks.future_use import Future, Source

Rows = tuple[tuple[int, int], ...]
"""For each row which target it plays, and by how many pieces more it orders."""


@dataclass(frozen=True, slots=True, eq=False)
class Orders:
    """The orders of a rehearsal: how each is decided, whatever is drawn. ``first`` is what the order list says of the first:
    (booked, kept for each target). An order can be used for ``life`` days.
    """

    way: tuple[Turn, ...]
    source: Source
    rows: Rows
    levels: tuple[tuple[Kept, ...], ...]
    """For each order after the first and each target."""
    targets: tuple[float, ...]
    first: tuple[int, tuple[int, ...]]
    room: bool
    chance: float | None
    """How surely all of an order must be used in time."""
    lasting: tuple[Unbooked, ...]
    """For each order, where that is asked, what is still to be booked until it expires."""
    life: int
    kept: list[Rates] = field(default_factory=list)
    """(targets,): what was kept on average over orders and runs, by draw."""

    def drawn(self, chance: np.random.Generator, periods: int, runs: int) -> Drawn:
        """One draw of so many runs."""
        future = self.source.drawn(chance, periods, runs)
        known = np.zeros((periods, len(self.rows), runs), np.int32)
        late = np.zeros((periods, runs), np.int32)
        leaving = np.zeros((periods, 1, runs), np.int32) if self.room else None
        lasting = np.zeros((periods, 1, runs), np.int32) if self.lasting else None
        total = np.array(self.first[1], np.float64)
        for n, turn in enumerate(self.way):
            t = turn.decided
            booked, levels = self._kept(n, future, runs)
            total += levels.mean(axis=1) if n else 0
            for row, (target, more) in enumerate(self.rows):
                known[t, row] = booked + np.maximum(levels[target] + more, 0)
            if leaving is not None:
                leaving[t, 0] = future.known(t, turn.door)
            if lasting is not None and self.chance is not None:
                sure = future.known(t, turn.usable + self.life)
                lasting[t, 0] = sure + self.lasting[n].certain(sure, self.chance)
            if len(turn.courses) > 1:
                days = np.array([course.usable - turn.soonest for course in turn.courses])
                late[t] = chance.choice(days, runs, p=_whole([course.chance for course in turn.courses]))
        self.kept.append(total / len(self.way))
        several = any(len(turn.courses) > 1 for turn in self.way)
        return Drawn(future.demand[:, None], known, leaving, lasting, late if several else None)

    def _kept(self, n: int, future: Future, runs: int) -> tuple[Counts, Counts]:
        """(runs,) booked, and (targets, runs) kept besides, of the n-th order."""
        turn = self.way[n]
        if n == 0:
            known, levels = self.first
            return np.full(runs, known, np.int32), np.repeat(np.array(levels, np.int32)[:, None], runs, axis=1)
        booked = Booked(
            np.array([future.known(turn.decided, course.covered) for course in turn.courses]),
            np.array([future.known(turn.decided, course.usable) for course in turn.courses]),
            future.known(turn.decided, turn.covered),
        )
        return booked.usual, np.array(
            [level.levels(booked, target) for level, target in zip(self.levels[n - 1], self.targets, strict=True)]
        )

    @property
    def usually_kept(self) -> tuple[float, ...]:
        """For each target, what was kept for what is not booked yet, on average over everything that was drawn."""
        found: list[float] = np.mean(self.kept, axis=0).tolist()
        return tuple(found)


def levels_of(way: Sequence[Turn], source: Source, targets: Sequence[float], kind: str) -> tuple[tuple[Kept, ...], ...]:
    """For each order after the first and each target, the levels of all ways in which its lead time may turn out."""
    return tuple(tuple(_level(turn, source, target, kind) for target in targets) for turn in way[1:])


def _level(turn: Turn, source: Source, target: float, kind: str) -> Kept:
    ways = []
    for course in turn.courses:
        span, lead = (course.covered, course.covers_until), (course.usable, course.usable_at)
        ways.append(
            Span(
                course.chance,
                source.unbooked(turn, span, target),
                source.unbooked(turn, lead, target, span) if kind == "fill" else None,
            )
        )
    return kept(ways, kind)


def _whole(chances: Sequence[float]) -> list[float]:
    return [chance / sum(chances) for chance in chances]
