"""The fridges of the made-up season: their temperature by the minute, what the loggers wrote, what the displays said.

A compressor that switches on and off around its set point, doors that are opened in staffed hours, and the faults
that FAULTS names. Only sums, products and `random.random` are used, whose results are the same on every machine:
the same seed gives the same bytes. Times are whole minutes since 1970-01-01 UTC, temperatures °C.
"""

import random
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

ZONE = ZoneInfo("Europe/Dublin")
SURGERY, STORE = "Surgery fridge", "Store fridge"
ROOM = 21.0
LOGGER_MINUTES = 10
"""How often both loggers write."""


def minute(text: str) -> int:
    """Minutes since 1970-01-01 UTC of a local clock time such as 2026-03-01T21:40."""
    return int(datetime.fromisoformat(text).replace(tzinfo=ZONE).timestamp()) // 60


def local(at: int) -> datetime:
    """The local clock time of a minute."""
    return datetime.fromtimestamp(at * 60, ZONE)


@dataclass(frozen=True)
class Fault:
    """From ``start`` to ``end`` (local) something was wrong with a fridge or, for kind "silent", with its logger."""

    name: str
    fridge: str
    kind: str
    start: str
    end: str
    story: str

    @property
    def span(self) -> tuple[int, int]:
        return minute(self.start), minute(self.end)


FAULTS = [
    Fault("cold dip", STORE, "stuck", "2026-02-06T02:40", "2026-02-06T03:30", "the compressor did not switch off"),
    Fault("compressor", SURGERY, "dead", "2026-03-01T21:40", "2026-03-02T08:05", "the compressor did not start"),
    Fault("dead battery", SURGERY, "silent", "2026-03-15T02:11", "2026-03-16T08:39", "the logger's battery was empty"),
    Fault("open door", STORE, "open", "2026-04-11T12:36", "2026-04-11T13:01", "the door stood open after closing"),
]

RATES = {"dead": 1 / 1130, "open": 1 / 73}
"""How fast a fridge without cooling nears the room: the share of the difference per minute."""


@dataclass(frozen=True)
class Make:
    """How one fridge behaves: set point, switching width, how far its display is off, °C; minutes between doors."""

    name: str
    set_point: float
    width: float
    display: float
    door_minutes: int
    seed: int


MAKES = [Make(SURGERY, 4.0, 0.55, 0.1, 50, 4117), Make(STORE, 4.3, 0.45, -0.1, 75, 4118)]


@dataclass
class Fridge:
    """The whole season of one fridge: ``celsius[i]`` is the temperature at minute ``first`` + i."""

    make: Make
    first: int
    celsius: list[float] = field(default_factory=list)

    def between(self, start: int, end: int) -> list[float]:
        """The temperatures of the minutes from ``start`` to ``end``, both included."""
        return self.celsius[max(0, start - self.first) : end - self.first + 1]

    def logged(self, first: int, last: int) -> Iterator[tuple[int, float]]:
        """(minute, °C to a tenth) as the logger wrote them; a silent logger and a few lost rows are left out."""
        silent = [f.span for f in FAULTS if f.fridge == self.make.name and f.kind == "silent"]
        for at in range(first + -first % LOGGER_MINUTES, last + 1, LOGGER_MINUTES):
            lost = (at // LOGGER_MINUTES + self.make.seed) % 3967 == 11
            if not lost and not any(s <= at <= e for s, e in silent):
                yield at, tenth(self.celsius[at - self.first])

    def display(self, since: int, at: int) -> tuple[float, float, float]:
        """What its display shows at ``at``: now, lowest and highest since ``since``, °C to a tenth."""
        seen = [tenth(c + self.make.display) for c in self.between(since, at)]
        return seen[-1], min(seen), max(seen)


def tenth(celsius: float) -> float:
    """To a tenth of a degree; -0.0 becomes 0.0."""
    return round(celsius * 10) / 10 + 0.0


def season(make: Make, first: int, last: int, staffed: set[int]) -> Fridge:
    """One fridge from minute ``first`` to ``last``; doors are only opened in the minutes of ``staffed``."""
    chance = random.Random(make.seed)
    wrong = {m: f.kind for f in FAULTS if f.fridge == make.name for m in range(*f.span)}
    fridge, inside, door, cooling, aim = Fridge(make, first), make.set_point, 0.0, False, make.set_point
    for at in range(first, last + 1):
        kind = wrong.get(at, "")
        if at % 1440 == 0:  # no two days are quite alike
            aim = make.set_point + (chance.random() + chance.random() - 1.0) * 0.2
        if kind in RATES:
            inside, cooling = inside + (ROOM - inside) * RATES[kind], True
        elif kind == "stuck":
            inside, cooling = inside - 0.113, False
        else:
            cooling = inside > (aim - make.width if cooling else aim + make.width)
            inside += -0.075 if cooling else (ROOM - inside) / 560
        if at in staffed and not kind and chance.random() * make.door_minutes < 1:
            door = min(0.9, door + 0.25 + 0.65 * chance.random())
        door *= 0.86
        noise = (chance.random() + chance.random() + chance.random() - 1.5) * 0.12
        fridge.celsius.append(inside + (0.0 if kind in RATES else door) + noise)
    return fridge


def iso_text(rows: Iterable[tuple[int, float]]) -> bytes:
    """The surgery logger's file: UTC, decimal point."""
    lines = [f"{datetime.fromtimestamp(at * 60, ZoneInfo('UTC')):%Y-%m-%dT%H:%M:%SZ},{c:.1f}\n" for at, c in rows]
    return ("timestamp,celsius\n" + "".join(lines)).encode()


def local_text(rows: Iterable[tuple[int, float]], junk: dict[int, str]) -> bytes:
    """The store logger's file: local clock, day first with dots, semicolons, decimal comma, CRLF, a byte-order mark.

    ``junk`` holds lines that the logger wrote instead of the reading of a minute.
    """
    lines = ["local time;temperature °C"]
    for at, c in rows:
        comma = f"{c:.1f}".replace(".", ",")
        lines.append(junk.get(at) or f"{local(at):%d.%m.%Y %H:%M:%S};{comma}")
    return ("\ufeff" + "\r\n".join(lines) + "\r\n").encode()


JUNK = {
    minute("2026-01-27T14:20"): "27.01.2026 14:20:00;---",
    minute("2026-02-13T09:50"): "13.02.2026 09:50:00;sensor?",
    minute("2026-02-20T12:10"): "battery 64 %;",
    minute("2026-03-11T10:30"): "11.03.2026 10:30:00;---",
    minute("2026-03-25T11:40"): "battery 58 %;",
    minute("2026-04-08T13:20"): "08.04.2026 13:20:00;---",
}
"""What the store logger wrote instead of a reading."""


def months(zone: ZoneInfo, first: int, last: int) -> Iterator[tuple[str, int, int]]:
    """(2026-01, first minute, last minute) of every calendar month in ``zone`` between two minutes."""
    day: date = datetime.fromtimestamp(first * 60, zone).date().replace(day=1)
    while True:
        following = (day + timedelta(days=31)).replace(day=1)
        start, end = (int(datetime(d.year, d.month, 1, tzinfo=zone).timestamp()) // 60 for d in (day, following))
        if start > last:
            return
        yield f"{day:%Y-%m}", max(first, start), min(last, end - 1)
        day = following
