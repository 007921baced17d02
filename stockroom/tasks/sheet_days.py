"""The days of a fridge in a month: checks by hand, what was missed, what the logger saw, whether it was in use."""

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from stockroom.core.checks import StaffedDay, missed_checks
from stockroom.core.envelope import unwatched_seconds
from stockroom.core.excursions import Ints
from stockroom.core.opening import Opening
from stockroom.core.practice import Fridge, Practice
from stockroom.core.records import HandCheck
from stockroom.store import Link, fridge_notes, fridges, ledger, practices
from stockroom.store.fridge_notes import Explained, Switch
from stockroom.tasks.chart import within
from stockroom.tasks.excursions_now import ExcursionNow
from stockroom.tasks.fridge_now import FridgeNow, fridge_now
from stockroom.tasks.rules import Rules, opening_of, practice_at, spans

Window = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Marked:
    """A check by hand; ``beyond`` says of its current, min and max value whether each is too warm (1), too cold (-1)."""

    check: HandCheck
    beyond: tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class LoggerDay:
    """What the logger saw on a day, and for how many seconds of it nothing is known."""

    low: int | None
    high: int | None
    beyond: tuple[int, int]
    unwatched: int


@dataclass(frozen=True, slots=True)
class SheetDay:
    """One local day. ``middle`` parts its opening from its closing checks; None where nobody was there."""

    day: date
    begun: bool
    closed: str | None
    middle: int | None
    checks: tuple[Marked, ...] = ()
    missed: tuple[str, ...] = ()
    """Checks that were missed: opening, closing; explained where ``explained`` says so."""
    explained: Explained | None = None
    logger: LoggerDay | None = None
    off: tuple[tuple[int | None, int | None, str], ...] = ()
    """Out of use (from, until, why) within the day, None where that lies beyond it."""
    known: bool = True
    """False where the practice file of that day does not name the fridge."""

    @property
    def unanswered(self) -> int:
        """Missed checks that nobody has explained."""
        return 0 if self.explained else len(self.missed)


@dataclass(frozen=True, slots=True)
class FridgeSheet:
    """The sheet of one fridge. ``limits``: (the day from which on, None from the beginning, low, high)."""

    fridge: Fridge
    kind: str
    """How it is checked by hand: minmax, twice or logger; twice where that ruled on any day."""
    limits: tuple[tuple[date | None, int, int], ...]
    days: tuple[SheetDay, ...]
    excursions: tuple[ExcursionNow, ...]
    has_logger: bool
    calibration_overdue: bool

    @property
    def checks(self) -> int:
        """Checks by hand in the month."""
        return sum(len(d.checks) for d in self.days)

    @property
    def missed(self) -> int:
        """Missed checks of the month that nobody has explained."""
        return sum(d.unanswered for d in self.days)


class FridgeMonth:
    """What one fridge's sheet is put together from."""

    def __init__(self, conn: Link, rule: Rules, fridge: Fridge, month: date, following: date, as_of: int) -> None:
        self.fridge, self.month, self.following, self.as_of = fridge, month, following, as_of
        self.spans = spans(conn)
        self.exceptions = practices.day_exceptions(conn, as_of)
        self.opening = rule.opening(fridge.site)
        self.window = (self.opening.midnight(month), self.opening.midnight(following))
        self.now: FridgeNow = fridge_now(conn, rule, fridge.name, as_of, None)
        self.found = within(self.now, *self.window)
        self.missed: dict[date, list[str]] = {}
        for day, check in self.now.missed:
            self.missed.setdefault(day, []).append(check)
        key = ledger.place_key(conn, fridge.name)
        self.checks: list[HandCheck] = []
        self.explained: Mapping[str, Explained] = {}
        self.switches: Sequence[Switch] = ()
        self.series: tuple[Ints, Ints] | None = None
        self.watched: Ints = np.empty(0, dtype=np.int64)
        self.first: int | None = None
        if key is not None:
            self.checks = fridges.hand_checks(conn, key, fridge.name, as_of)
            self.explained = fridge_notes.explained_days(conn, key, as_of)
            self.switches = fridge_notes.switches(conn, key, as_of)
            self._readings(conn, key)

    def _readings(self, conn: Link, key: int) -> None:
        """The month's readings with the nearest on either side, so that no stretch is cut at midnight."""
        start, end = self.window
        before = fridges.last_reading(conn, key, start - 1)
        reach = max((p.max_gap_minutes for p in self._fridges()), default=60) * 60
        at, milli = fridges.series(conn, key, start if before is None else before[0], min(end + reach, self.as_of))
        if at.size:
            self.series = (at, milli)
            # A silence that is not yet longer than a gap may be is none.
            young = self.as_of - int(at[-1]) <= self.fridge.max_gap_minutes * 60
            self.watched = np.append(at, self.as_of) if young else at
            self.first = int(at[0]) if before is None else before[0]

    def _fridges(self) -> list[Fridge]:
        return [f for _, _, p in self.spans if (f := p.fridge(self.fridge.name))]

    def ruled(self, at: int) -> tuple[Practice, Fridge]:
        """The practice file that ruled at an instant, and the fridge as it described it."""
        practice = practice_at(self.spans, at)
        return practice, practice.fridge(self.fridge.name) or self.fridge

    def made(self) -> FridgeSheet:
        """The sheet."""
        days = []
        day = self.month
        while day < self.following:
            days.append(self._day(day))
            day += timedelta(days=1)
        kinds = {self.ruled(self.opening.midnight(d.day))[1].checks for d in days if d.begun}
        kind = "twice" if "twice" in kinds else "minmax" if "minmax" in kinds else "logger"
        last = min(self.opening.day(self.as_of), self.following - timedelta(days=1))
        due = self.fridge.calibration_due
        return FridgeSheet(
            self.fridge,
            kind,
            self._limits(),
            tuple(days),
            tuple(self.found),
            self.fridge.logger_minutes is not None or any(d.logger for d in days),
            due is not None and last > due,
        )

    def _limits(self) -> tuple[tuple[date | None, int, int], ...]:
        out: list[tuple[date | None, int, int]] = []
        for start, end, practice in self.spans:
            f = practice.fridge(self.fridge.name)
            if f is None or end <= self.window[0] or start >= min(self.window[1], self.as_of + 1):
                continue
            if not out or out[-1][1:] != (f.low, f.high):
                out.append((self.opening.day(start) if out else None, f.low, f.high))
        return tuple(out) or ((None, self.fridge.low, self.fridge.high),)

    def _day(self, day: date) -> SheetDay:
        start, end = self.opening.midnight(day), self.opening.midnight(day + timedelta(days=1))
        practice, fridge = self.ruled(start)
        opening = opening_of(practice, fridge.site, self.exceptions)
        hours = opening.day_spans(day)
        middle = -(-(hours[0][0] + hours[-1][1]) // 2) if hours else None
        closed = None if hours else _why_closed(opening, day)
        if start > self.as_of:
            return SheetDay(day, False, closed, middle)
        first = bisect_left(self.checks, start, key=lambda c: c.at)
        last = bisect_left(self.checks, end, key=lambda c: c.at)
        made = self.checks[first:last]
        return SheetDay(
            day,
            True,
            closed,
            middle,
            tuple(Marked(c, self._beyond(c)) for c in made),
            self._missed(day, (start, end), fridge, hours, [c.at for c in made]),
            self.explained.get(day.isoformat()),
            self._logger((start, min(end, self.as_of)), end, fridge),
            _out_of_use(self.switches, start, end),
            practice.fridge(self.fridge.name) is not None,
        )

    def _missed(
        self, day: date, span: Window, fridge: Fridge, hours: Sequence[Window], made: Sequence[int]
    ) -> tuple[str, ...]:
        """Missed checks; those of a day that somebody explained are found anew, as what is open no longer names them."""
        if day.isoformat() not in self.explained or not hours:
            return tuple(self.missed.get(day, ()))
        if _out_of_use(self.switches, *span):
            return ()
        staffed = StaffedDay(day, span[0], hours[0][0], hours[-1][1], span[1])
        kind = fridge.checks
        found = missed_checks(kind, [staffed], made, self.as_of, frozenset(), span[0])  # type: ignore[arg-type]
        return tuple(check for _, check in found)

    def _beyond(self, c: HandCheck) -> tuple[int, int, int]:
        return self._side(c.milli, c.at, c.at, "hand"), self._side(c.low, c.at, c.at, "hand"), self._side(
            c.high, c.at, c.at, "hand"
        )  # fmt: skip

    def _side(self, milli: int | None, start: int, end: int, source: str) -> int:
        """1 too warm, -1 too cold, by the fridge's limits or by those of an excursion that covers the time."""
        if milli is None:
            return 0
        fridge = self.ruled(start)[1]
        high, low = [fridge.high], [fridge.low]
        for e in self.found:
            v = e.event
            if v is None or e.source != source or e.limit is None or v.first_out > end or v.last_out < start:
                continue
            (high if e.direction == "warm" else low).append(e.limit)
        return 1 if milli > min(high) else -1 if milli < max(low) else 0

    def _logger(self, span: Window, end: int, fridge: Fridge) -> LoggerDay | None:
        if self.series is None or self.first is None or self.first >= end:
            return None
        at, milli = self.series
        mine = milli[bisect_left(at, span[0]) : bisect_left(at, end)]
        unwatched = unwatched_seconds(self.watched, *span, fridge.max_gap_minutes * 60)
        if not mine.size:
            return LoggerDay(None, None, (0, 0), unwatched)
        low, high = int(mine.min()), int(mine.max())
        sides = self._side(low, span[0], end - 1, "logger"), self._side(high, span[0], end - 1, "logger")
        return LoggerDay(low, high, sides, unwatched)


def _why_closed(opening: Opening, day: date) -> str:
    said = [e.why for e in opening.exceptions if e.day == day and not e.open and e.why]
    said += [c.why for c in opening.site.closed if c.first <= day <= c.last and c.why]
    return said[0] if said and opening.usual(day) else ""


def _out_of_use(switches: Sequence[Switch], start: int, end: int) -> tuple[tuple[int | None, int | None, str], ...]:
    """The parts of [start, end) in which a fridge was switched off."""
    out: list[tuple[int | None, int | None, str]] = []
    since: Switch | None = None
    for switch in switches:
        if switch.at >= end:
            break
        if not switch.on and since is None:
            since = switch
        elif switch.on and since is not None:
            if switch.at > start:
                out.append((since.at if since.at > start else None, switch.at, since.why))
            since = None
    if since is not None:
        out.append((since.at if since.at > start else None, None, since.why))
    return tuple(out)
