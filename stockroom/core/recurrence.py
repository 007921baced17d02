"""A repetition rule and a first day -> the times on the clock at which it repeats (published: RFC 5545, 3.3.10).

Clock times only: which instants these are is for whoever knows the zone. Every loop is bounded by the two days that
are asked about, so that a rule that never matches, or one that repeats a thousand million times, ends like any other.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

DAILY, WEEKLY, MONTHLY, YEARLY = "DAILY", "WEEKLY", "MONTHLY", "YEARLY"
ONE = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Rule:
    """How something repeats. ``week_days`` has (n, 0 for Monday to 6): the n-th of its month or year, 0 for each.

    Empty tuples set no condition. How often or until when it repeats is not part of it.
    """

    every: str
    interval: int = 1
    week_start: int = 0
    months: tuple[int, ...] = ()
    month_days: tuple[int, ...] = ()
    year_days: tuple[int, ...] = ()
    week_days: tuple[tuple[int, int], ...] = ()
    times: tuple[time, ...] = ()
    positions: tuple[int, ...] = ()


def repeated(rule: Rule, start: datetime, first: date, last: date) -> Iterator[datetime]:
    """The clock times from ``start`` on at which the rule repeats, in order, from about ``first`` to ``last``.

    What lies before ``first`` may be among them, nothing that lies after it is left out. ``start`` itself is among
    them only where the rule has it.
    """
    full = _completed(rule, start.date())
    times = tuple(sorted(full.times)) or (start.time(),)
    for days in _periods(full, start.date(), first, last):
        found = [datetime.combine(day, at) for day in days if _fits(full, day) for at in times]
        for wall in _picked(found, full.positions):
            if wall >= start and wall.date() <= last:
                yield wall


def _completed(rule: Rule, start: date) -> Rule:
    """The rule with what it leaves to its first day written out."""
    if rule.month_days or rule.year_days or rule.week_days or rule.every == DAILY:
        return rule
    return Rule(
        rule.every, rule.interval, rule.week_start,
        rule.months or ((start.month,) if rule.every == YEARLY else ()),
        () if rule.every == WEEKLY else (start.day,),
        (), ((0, start.weekday()),) if rule.every == WEEKLY else (), rule.times, rule.positions,
    )  # fmt: skip


def _periods(rule: Rule, start: date, first: date, last: date) -> Iterator[list[date]]:
    """The days of each day, week, month or year in question; whole periods before ``first`` are passed over."""
    step = rule.interval
    if rule.every in (DAILY, WEEKLY):
        length = 1 if rule.every == DAILY else 7
        at = start - timedelta(days=(start.weekday() - rule.week_start) % 7 if length == 7 else 0)
        passed = max(0, (first - at).days // (length * step) - 1)
        while (last - at).days >= passed * length * step:
            began = at + timedelta(days=passed * length * step)
            yield [began + i * ONE for i in range(length)]
            passed += 1
        return
    months = step * (1 if rule.every == MONTHLY else 12)
    origin = start.year * 12 + (start.month - 1 if rule.every == MONTHLY else 0)
    passed = max(0, (first.year * 12 + first.month - 1 - origin) // months - 1)
    end = last.year * 12 + last.month - 1
    while origin + passed * months <= end:
        begun = origin + passed * months
        if rule.every == MONTHLY:
            yield _month(begun)
        else:
            wanted = rule.months if rule.months and not rule.year_days and not _numbered(rule) else range(1, 13)
            yield [day for m in sorted(set(wanted)) for day in _month(begun + m - 1)]
        passed += 1


def _numbered(rule: Rule) -> bool:
    """True where the rule counts weekdays through the whole year."""
    return rule.every == YEARLY and not rule.months and any(n for n, _ in rule.week_days)


def _month(number: int) -> list[date]:
    """The days of a month, counted from January of the year 0."""
    year, month = divmod(number, 12)
    return [date(year, month + 1, d) for d in range(1, _length(year, month + 1) + 1)]


def _length(year: int, month: int) -> int:
    after = date(year + month // 12, month % 12 + 1, 1)
    return (after - ONE).day


def _fits(rule: Rule, day: date) -> bool:
    if rule.months and day.month not in rule.months:
        return False
    if rule.month_days:
        length = _length(day.year, day.month)
        if day.day not in rule.month_days and day.day - length - 1 not in rule.month_days:
            return False
    if rule.year_days:
        of_year = day.timetuple().tm_yday
        length = 366 if _length(day.year, 2) == 29 else 365
        if of_year not in rule.year_days and of_year - length - 1 not in rule.year_days:
            return False
    return not rule.week_days or any(_is(rule, day, n, weekday) for n, weekday in rule.week_days)


def _is(rule: Rule, day: date, n: int, weekday: int) -> bool:
    if day.weekday() != weekday:
        return False
    if not n:
        return True
    if rule.every == MONTHLY or rule.months:
        place, length = day.day, _length(day.year, day.month)
    else:
        place, length = day.timetuple().tm_yday, 366 if _length(day.year, 2) == 29 else 365
    return n == ((place - 1) // 7 + 1 if n > 0 else -((length - place) // 7 + 1))


def _picked(found: list[datetime], positions: tuple[int, ...]) -> list[datetime]:
    if not positions:
        return found
    count = len(found)
    places = {p - 1 if p > 0 else count + p for p in positions}
    return [found[p] for p in sorted(places) if 0 <= p < count]
