"""Repetition rules against a second implementation (python-dateutil's rrule) and against the standard's own examples."""

import itertools
from datetime import date, datetime, time

import pytest
from dateutil import rrule as other
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from stockroom.core.recurrence import DAILY, MONTHLY, WEEKLY, YEARLY, Rule, repeated

FREQ = {DAILY: other.DAILY, WEEKLY: other.WEEKLY, MONTHLY: other.MONTHLY, YEARLY: other.YEARLY}
LAST = date(2031, 12, 31)


def theirs(rule: Rule, start: datetime, last: date) -> list[datetime]:
    """What dateutil makes of it. A result beyond the end stops it: without one it would look on to the year 9999."""
    days = [other.weekday(d, n or None) for n, d in rule.week_days]
    made = other.rrule(
        FREQ[rule.every], dtstart=start, interval=rule.interval, wkst=rule.week_start,
        bymonth=rule.months or None, bymonthday=rule.month_days or None, byyearday=rule.year_days or None,
        byweekday=days or None, bysetpos=rule.positions or None,
        until=datetime.combine(last, time(23, 59, 59)),
        **({"byhour": [t.hour for t in rule.times], "byminute": 0, "bysecond": 0} if rule.times else {}),
    )  # fmt: skip
    return list(made)


@st.composite
def rules(draw: st.DrawFn) -> Rule:
    every = draw(st.sampled_from([DAILY, WEEKLY, MONTHLY, YEARLY]))
    # Not mixed: of "every Monday and the first Tuesday" the other implementation makes both at once, against the standard.
    counted = every in (MONTHLY, YEARLY) and draw(st.booleans())
    numbers = st.sampled_from([1, 2, -1, 5] if counted else [0])
    days = st.lists(st.tuples(numbers, st.integers(0, 6)), max_size=3, unique=True)
    some = st.lists(st.integers(1, 12), max_size=3, unique=True)
    month_days = st.lists(st.sampled_from([1, 2, 15, 28, 31, -1, -3]), max_size=2, unique=True)
    year_days = st.lists(st.sampled_from([1, 60, 200, 366, -1]), max_size=2, unique=True)
    hours = draw(st.lists(st.sampled_from([8, 9, 14]), max_size=2, unique=True))
    return Rule(
        every,
        draw(st.integers(1, 5)),
        draw(st.sampled_from([0, 6])),
        tuple(draw(some)),
        tuple(draw(month_days)) if every != WEEKLY else (),
        tuple(draw(year_days)) if every == YEARLY and not draw(st.booleans()) else (),
        tuple(draw(days)),
        tuple(time(h) for h in hours),
        # Of the first week the other implementation counts places from the first day on, of months from their beginning.
        tuple(draw(st.lists(st.sampled_from([1, 2, -1]), max_size=1))) if every != WEEKLY else (),
    )


@settings(max_examples=150, deadline=None, phases=[Phase.explicit, Phase.reuse, Phase.generate])
@given(rules(), st.datetimes(datetime(2023, 1, 1), datetime(2027, 12, 31)))
def test_as_the_other_implementation_has_it(rule: Rule, start: datetime) -> None:
    start = start.replace(minute=0, second=0, microsecond=0)
    ours = list(repeated(rule, start, start.date(), LAST))
    if len(ours) > 2:  # the other one would look for what never comes day by day to the year 9999
        assert ours == theirs(rule, start, LAST)


@settings(max_examples=60, deadline=None)
@given(
    rules(), st.datetimes(datetime(2020, 1, 1), datetime(2027, 12, 31)), st.dates(date(2024, 1, 1), date(2030, 1, 1))
)
def test_a_later_beginning_loses_nothing(rule: Rule, start: datetime, first: date) -> None:
    whole = [w for w in repeated(rule, start, start.date(), LAST) if w.date() >= first]
    assert [w for w in repeated(rule, start, first, LAST) if w.date() >= first] == whole


def walls(rule: Rule, start: str, number: int) -> list[str]:
    begun = datetime.fromisoformat(start)
    return [w.strftime("%Y-%m-%d") for w in itertools.islice(repeated(rule, begun, begun.date(), LAST), number)]


@pytest.mark.parametrize(
    ("rule", "start", "days"),
    [
        # published: the examples of RFC 5545, 3.8.5.3, moved to years of this program (derived: the calendar)
        (Rule(MONTHLY, week_days=((1, 4),)), "2026-03-06T09:00", ["2026-03-06", "2026-04-03", "2026-05-01"]),
        (Rule(MONTHLY, month_days=(-3,)), "2026-02-26T09:00", ["2026-02-26", "2026-03-29", "2026-04-28"]),
        (Rule(MONTHLY, month_days=(13,), week_days=((0, 4),)), "2026-01-01T09:00", ["2026-02-13", "2026-03-13", "2026-11-13"]),
        (
            Rule(MONTHLY, week_days=tuple((0, d) for d in range(5)), positions=(-1,)),
            "2026-01-30T09:00",
            ["2026-01-30", "2026-02-27", "2026-03-31"],
        ),
        # published there: why the week's first day matters; 5, 10, 19, 24 August against 5, 17, 19, 31
        (Rule(WEEKLY, 2, 0, week_days=((0, 1), (0, 6))), "1997-08-05T09:00", ["1997-08-05", "1997-08-10", "1997-08-19", "1997-08-24"]),
        (Rule(WEEKLY, 2, 6, week_days=((0, 1), (0, 6))), "1997-08-05T09:00", ["1997-08-05", "1997-08-17", "1997-08-19", "1997-08-31"]),
        (Rule(YEARLY, week_days=((20, 0),)), "1997-05-19T09:00", ["1997-05-19", "1998-05-18", "1999-05-17"]),
    ],
)  # fmt: skip
def test_published_examples(rule: Rule, start: str, days: list[str]) -> None:
    assert walls(rule, start, len(days)) == days


@pytest.mark.parametrize(
    "rule",
    [
        Rule(DAILY, months=(2,), month_days=(30,)),  # there is no 30 February
        Rule(DAILY, 7, week_days=((0, 2),)),  # begun on a Monday, every seventh day is no Wednesday
        Rule(WEEKLY, positions=(5,)),
        Rule(YEARLY, 10**12),
        Rule(DAILY, 10**12, months=(1,)),
    ],
)
def test_what_never_comes_ends(rule: Rule) -> None:
    found = list(repeated(rule, datetime(2026, 3, 2, 9), date(2026, 3, 2), LAST))
    assert found in ([], [datetime(2026, 3, 2, 9)])
