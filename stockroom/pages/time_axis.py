"""Where days and hours stand on an axis of time, in the practice's zone; days are 23 or 25 hours where clocks change."""

from datetime import date, timedelta
from typing import NamedTuple

from stockroom.core.opening import Opening
from stockroom.core.practice import WEEKDAYS
from stockroom.core.when import MONTHS

HOURS = (1, 2, 3, 6, 12)
DAYS = (1, 2, 7, 14, 28, 91, 182, 365)


class Tick(NamedTuple):
    """A place on the axis and what is written there; ``major`` at the beginning of a day."""

    at: int
    label: str
    major: bool


def ticks(opening: Opening, start: int, end: int, most: int) -> list[Tick]:
    """At most about ``most`` ticks in [start, end]: the closest steps of hours, days or weeks that keep to it."""
    days = max(1, -(-(end - start) // 86_400))
    for hours in reversed(HOURS):
        if days * 24 // hours > most:
            wider = HOURS[HOURS.index(hours) + 1 :]
            return _of_hours(opening, start, end, wider[0]) if wider else _of_days(opening, start, end, days, most)
    return _of_hours(opening, start, end, HOURS[0])


def _of_hours(opening: Opening, start: int, end: int, hours: int) -> list[Tick]:
    found: list[Tick] = []
    day = opening.day(start)
    while opening.midnight(day) <= end:
        for hour in range(0, 24, hours):
            at = opening.at(day, hour * 60)
            if start <= at <= end and (not found or at > found[-1].at):
                found.append(Tick(at, f"{hour:02}:00" if hour else _day(day), not hour))
        day += timedelta(days=1)
    return found


def _of_days(opening: Opening, start: int, end: int, days: int, most: int) -> list[Tick]:
    step = next((n for n in DAYS if days // n <= most), DAYS[-1])
    found = []
    day = opening.day(start)
    day -= timedelta(days=day.toordinal() % step if step < 7 else day.weekday())
    while (at := opening.midnight(day)) <= end:
        if at >= start:
            found.append(Tick(at, _day(day) if step == 1 else _date(day, days), True))
        day += timedelta(days=step)
    return found


def _day(on: date) -> str:
    return f"{WEEKDAYS[on.weekday()].capitalize()} {on.day}"


def _date(on: date, days: int) -> str:
    return f"{on.day} {MONTHS[on.month - 1]}" + (f" {on.year % 100:02}" if days > 366 else "")
