"""Where days and hours stand on an axis of time, in the practice's zone; days are 23 or 25 hours where clocks change."""

from datetime import date, timedelta
from typing import NamedTuple

from stockroom.core.opening import Opening
from stockroom.core.practice import WEEKDAYS
from stockroom.core.when import MONTHS

HOURS = (1, 2, 3, 6, 12)
DAYS = (1, 2, 7, 14)
IN_MONTHS = (1, 2, 3, 6, 12, 24)


class Tick(NamedTuple):
    """A place on the axis and what is written there; ``major`` at the beginning of a day."""

    at: int
    label: str
    major: bool


def ticks(opening: Opening, start: int, end: int, most: int) -> list[Tick]:
    """About ``most`` ticks in [start, end] or fewer: the closest steps of hours, days, weeks or months that keep to it."""
    days = max(1, -(-(end - start) // 86_400))
    for hours in HOURS:
        if days * 24 // hours <= most:
            return _of_hours(opening, start, end, hours)
    for step in DAYS:
        if days // step <= most:
            return _of_days(opening, start, end, step)
    months = next((n for n in IN_MONTHS if days // (30 * n) <= most), IN_MONTHS[-1])
    return _of_months(opening, start, end, months)


def _of_hours(opening: Opening, start: int, end: int, hours: int) -> list[Tick]:
    found: list[Tick] = []
    day = opening.day(start)
    while opening.midnight(day) <= end:
        for hour in range(0, 24, hours):
            at = opening.at(day, hour * 60)
            # A clock time that a clock change skips stands where the next one does.
            if start <= at <= end and (not found or at > found[-1].at):
                found.append(Tick(at, f"{hour:02}:00" if hour else _day(day), not hour))
        day += timedelta(days=1)
    return found


def _of_days(opening: Opening, start: int, end: int, step: int) -> list[Tick]:
    found: list[Tick] = []
    day = opening.day(start)
    day -= timedelta(days=day.toordinal() % step if step < 7 else day.weekday())
    while (at := opening.midnight(day)) <= end:
        if at >= start:
            found.append(Tick(at, _day(day) if step == 1 else f"{day.day} {MONTHS[day.month - 1]}", True))
        day += timedelta(days=step)
    return found


def _of_months(opening: Opening, start: int, end: int, step: int) -> list[Tick]:
    found: list[Tick] = []
    first = opening.day(start)
    month = first.year * 12 + (first.month - 1) // step * step
    while (at := opening.midnight(day := date(month // 12, month % 12 + 1, 1))) <= end:
        if at >= start:
            found.append(Tick(at, f"{MONTHS[day.month - 1]} {day.year}", True))
        month += step
    return found


def _day(on: date) -> str:
    return f"{WEEKDAYS[on.weekday()].capitalize()} {on.day}"
