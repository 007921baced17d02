"""When somebody is there: local days, opening hours and take-out rounds as spans of UTC seconds.

Every sum is made on instants (whole seconds UTC), never on clock times, because a day with a clock change has
23, 25 or (Lord Howe) 24.5 hours. Spans are half-open ``(start, end)``. A clock time that is skipped stands for the
first instant after the skip, one that comes twice for its first. Days that a zone left out (Samoa, 2011-12-30)
are simply empty.
"""

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cache, lru_cache, partial
from zoneinfo import ZoneInfo

from stockroom.core.moments import Moments, Span
from stockroom.core.practice import Site

DAY_MINUTES = 1440
SEARCH_SECONDS = 400 * 86_400
"""How far a staffed moment is looked for: a practice that is closed longer than this has no next one."""

_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True, slots=True)
class DayException:
    """A part of one local day that is closed or open other than the hours say; the higher ``seq`` wins."""

    day: date
    open: bool
    from_minute: int = 0
    to_minute: int = DAY_MINUTES
    why: str = ""
    seq: int = 0


@dataclass(frozen=True, slots=True)
class Opening:
    """The hours of one site in its time zone, closures and exceptions applied.

    The zone is a name of the IANA list; ZoneInfo raises where it is not.
    """

    zone_name: str
    site: Site
    exceptions: tuple[DayException, ...] = ()
    _known: dict[date, tuple[Span, ...]] = field(default_factory=dict, init=False, repr=False, compare=False)
    _clocks: dict[int, tuple[date, str]] = field(default_factory=dict, init=False, repr=False, compare=False)
    _moments: dict[tuple[int, int, tuple[int, ...]], Moments] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    @property
    def zone(self) -> ZoneInfo:
        """The time zone."""
        return ZoneInfo(self.zone_name)

    def day(self, at: int) -> date:
        """The local day on which an instant falls."""
        return datetime.fromtimestamp(at, self.zone).date()

    def midnight(self, day: date) -> int:
        """The first instant of a local day, even where its midnight was skipped."""
        return _instant(self.zone_name, day, 0)

    def at(self, day: date, minute: int) -> int:
        """A local clock time (minutes since midnight, 1440 = the next midnight) as an instant."""
        return _instant(self.zone_name, day, minute)

    def clock(self, at: int) -> str:
        """``Fri 6 Mar 15:45`` for people, in English whatever the computer's language."""
        return self.day_and_clock(at)[1]

    def day_and_clock(self, at: int) -> tuple[date, str]:
        """``day`` and ``clock`` at once, each instant worked out once: a plan says two or three a line."""
        known = self._clocks.get(at)
        if known is None:
            local = datetime.fromtimestamp(at, self.zone)
            day = local.date()
            known = day, _day_text(day) + _minute_text(60 * local.hour + local.minute)
            self._clocks[at] = known
        return known

    def typed(self, at: int) -> str:
        """``2026-03-06T15:45`` as a person may type it; with its offset where the clock shows that time twice."""
        local = datetime.fromtimestamp(at, self.zone).replace(second=0)
        doubled = local.replace(fold=1 - local.fold).utcoffset() != local.utcoffset()
        return local.isoformat(timespec="minutes") if doubled else f"{local:%Y-%m-%dT%H:%M}"

    def hour(self, at: int) -> float:
        """The local hour of the day: 8.5 at half past eight."""
        local = datetime.fromtimestamp(at, self.zone)
        return local.hour + local.minute / 60

    def besides(self, exception: DayException) -> "Opening":
        """The same hours with one more exception, which wins over all others."""
        last = max((e.seq for e in self.exceptions), default=0) + 1
        return replace(self, exceptions=(*self.exceptions, replace(exception, seq=last)))

    def usual(self, day: date) -> tuple[Span, ...]:
        """The weekday's hours in minutes of the day, closures and exceptions left aside."""
        return self.site.hours[day.weekday()]

    def day_spans(self, day: date) -> tuple[Span, ...]:
        """The staffed spans of a local day, sorted, apart from one another."""
        known = self._known.get(day)
        if known is None:
            minutes = _staffed_minutes(self, day)
            known = tuple(merged((self.at(day, first), self.at(day, last)) for first, last in minutes))
            self._known[day] = known
        return known

    def spans(self, start: int, end: int) -> list[Span]:
        """The staffed spans between two instants, cut to them; hours that run past midnight are one span."""
        if end <= start:
            return []
        days = _days(self.day(start) - timedelta(days=1), (end - start) // 86_400 + 4, 1)
        clipped = ((max(a, start), min(b, end)) for day in days for a, b in self.day_spans(day))
        return merged(clipped)

    def staffed(self, at: int) -> bool:
        """True where somebody is there at the instant (the closing instant itself no longer counts)."""
        day = self.day(at)
        # The days beside it are asked too: where clocks go back over midnight a day comes in two pieces.
        return any(a <= at < b for near in _days(day - timedelta(days=1), 3, 1) for a, b in self.day_spans(near))

    def latest(self, at: int, margin: int, rounds: tuple[int, ...] = (), not_before: int | None = None) -> int | None:
        """The latest instant up to ``at`` that lies ``margin`` seconds inside a staffed span, from either end.

        Both ends of a span count when the margin is 0. With ``rounds`` (minutes of the day): the latest of these
        at which somebody is there; the margin does not apply to them. None where there is none since
        ``not_before`` or within 400 days.
        """
        floor = at - SEARCH_SECONDS
        return self.moments(margin, margin, rounds).latest(at, floor if not_before is None else max(floor, not_before))

    def earliest(self, at: int, margin: int, rounds: tuple[int, ...] = (), not_after: int | None = None) -> int | None:
        """The earliest instant from ``at`` on that ``latest`` would count, up to ``not_after`` or 400 days."""
        ceiling = at + SEARCH_SECONDS
        return self.moments(margin, margin, rounds).earliest(
            at, ceiling if not_after is None else min(ceiling, not_after)
        )

    def start_for(self, seconds: int, at: int) -> int | None:
        """The first start from ``at`` on of something that takes so long and lies inside one staffed span, or None."""
        return self.moments(0, seconds).earliest(at, at + SEARCH_SECONDS)

    def moments(self, before: int, after: int, rounds: tuple[int, ...] = ()) -> Moments:
        """The instants that lie so many seconds after a staffed span's start and before its end; or the rounds."""
        found = self._moments.get((before, after, rounds))
        if found is None:
            between = partial(_rounds, self, rounds) if rounds else partial(_inside, self, before, after)
            found = self._moments[before, after, rounds] = Moments(between)
        return found


def _inside(opening: Opening, before: int, after: int, start: int, end: int) -> list[Span]:
    """What lies ``before`` and ``after`` seconds inside a staffed span, as closed intervals; exact in [start, end)."""
    spans = opening.spans(start - before - 1, end + after + 1)
    return [(a + before, b - after) for a, b in spans if a + before <= b - after]


def _rounds(opening: Opening, rounds: tuple[int, ...], start: int, end: int) -> list[Span]:
    """The rounds at which somebody is there (a round at closing time counts), in [start, end)."""
    spans = opening.spans(start - 1, end + 1)
    opens = [a for a, _ in spans]
    found = []
    for day in _days(opening.day(start) - timedelta(days=1), (end - start) // 86_400 + 4, 1):
        for minute in rounds:
            at = opening.at(day, minute)
            n = bisect_right(opens, at)
            if n and at <= spans[n - 1][1]:
                found.append((at, at))
    return found


def merged(spans: Iterable[Span]) -> list[Span]:
    """The same time as sorted spans that neither touch nor overlap; empty spans fall away."""
    out: list[Span] = []
    for start, end in sorted(spans):
        if end <= start:
            continue
        if out and start <= out[-1][1]:
            out[-1] = (out[-1][0], max(out[-1][1], end))
        else:
            out.append((start, end))
    return out


def _staffed_minutes(opening: Opening, day: date) -> list[Span]:
    """The staffed spans of a day in local minutes: hours, then closures, then exceptions in their order."""
    closed = any(c.first <= day <= c.last for c in opening.site.closed)
    spans = [] if closed else list(opening.usual(day))
    for change in sorted((e for e in opening.exceptions if e.day == day), key=lambda e: e.seq):
        a, b = change.from_minute, change.to_minute
        if change.open:
            spans.append((a, b))
        else:
            spans = [part for x, y in spans for part in ((x, min(y, a)), (max(x, b), y)) if part[0] < part[1]]
    return merged(spans)


def _days(first: date, number: int, step: int) -> Iterator[date]:
    """So many days from ``first`` on, forwards (step 1) or backwards (-1)."""
    return (first + timedelta(days=step * n) for n in range(number))


@lru_cache(maxsize=4096)
def _day_text(day: date) -> str:
    return f"{_DAYS[day.weekday()]} {day.day} {_MONTHS[day.month - 1]} "


@cache
def _minute_text(minute: int) -> str:
    return f"{minute // 60:02}:{minute % 60:02}"


@lru_cache(maxsize=65_536)
def _instant(zone_name: str, day: date, minute: int) -> int:
    """A local clock time as an instant; in a skipped hour the first instant after it, in a doubled one the first.

    By PEP 495 a skipped time read with fold=1 lies before the skip and with fold=0 after it; the skip itself is
    found between the two by bisection, which needs no list of a zone's changes.
    """
    zone = ZoneInfo(zone_name)
    wall = datetime.combine(day, time()) + timedelta(minutes=minute)
    instant = int(wall.replace(tzinfo=zone).timestamp())
    if _wall(instant, zone) == wall:
        return instant
    before = int(wall.replace(tzinfo=zone, fold=1).timestamp())
    while instant - before > 1:
        middle = (before + instant) // 2
        if _wall(middle, zone) >= wall:
            instant = middle
        else:
            before = middle
    return instant


def _wall(at: int, zone: ZoneInfo) -> datetime:
    """What the local clock shows at an instant."""
    return datetime.fromtimestamp(at, UTC).astimezone(zone).replace(tzinfo=None)
