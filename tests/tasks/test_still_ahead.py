"""What would still be to be booked at later moments. Derived: the order list's own answer, when that moment has come."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from conftest import PRACTICE, Line

from stockroom.core.counts import Pmf, mean_of
from stockroom.core.kept_levels import Unbooked
from stockroom.store.engine import opened
from stockroom.tasks.reorder import order_plan
from stockroom.tasks.rules import rules
from stockroom.tasks.still_ahead import StillAhead

TEXT = (
    PRACTICE.replace("pack_size = 50", "pack_size = 1").replace('{ product = "KIT", each = 1 }, ', "").replace("per_cycles = 2, spare = 1", "each = 2")
)  # fmt: skip
MONDAY = date(2026, 3, 2)
WEEKS = 12


def made_before(week: int, n: int) -> int:
    """Days before which the n-th booking of a week is made: repeats every second week."""
    return (9, 1, 16)[n] + (week % 2 if n else 0)


def steady(line: Line, until: date) -> Line:
    """Weeks that repeat two by two: bookings on Tuesday, Wednesday and, in every other, Thursday; those that are made by
    then, none of them recorded as done.
    """
    rows = ["id,procedure,start,patient,state,made"]
    for week in range(-WEEKS, 8):
        for n in range(3 - week % 2):
            start = MONDAY + timedelta(weeks=week, days=1 + n)
            if (made := start - timedelta(days=made_before(week, n))) < until:
                rows.append(f"{week + WEEKS}-{n},white,{start}T10:00,P-{week + WEEKS}{n},,{made}T12:00")
    line.file("b.csv", "\n".join(rows) + "\n")
    assert not line.ask("booking", "import", "b.csv", now=f"{until}T08:59:00+00:00")["rejected"]
    return line


def instant(day: date, hour: int = 9) -> int:
    return int(datetime(day.year, day.month, day.day, hour, tzinfo=UTC).timestamp())


def only(found: Unbooked) -> Pmf:
    (pmf,) = found.pmfs  # by pick-up it makes no difference what is booked
    return pmf


def seen(line: Line, now: date, at: date, days: int) -> tuple[Pmf, Pmf]:
    """For so many days from ``at`` on: as a rehearsal of ``now`` sees it, and as the list of ``now`` does."""
    with opened(line.where).reading() as conn:
        plan = order_plan(conn, rules(conn, instant(now)), instant(now))
        ((here, expected),) = plan.bases
        product = here.products["SWAB"]
        ahead = only(StillAhead(expected, product).unbooked(instant(at), instant(at + timedelta(days=days)), 0.95))
        return ahead, expected.still(product, instant(now + timedelta(days=days))).pmf


@pytest.mark.parametrize("days", [1, 4, 7, 10, 24])
def test_now_it_is_what_the_list_says(line, days: int) -> None:
    made = steady(line(TEXT, at="2025-11-03T08:00:00+00:00"), MONDAY)
    ahead, listed = seen(made, MONDAY, MONDAY, days)
    assert ahead.tolist() == listed.tolist() and (mean_of(listed) > 0) == (days > 1)  # on Mondays there is none


@pytest.mark.parametrize("days", [3, 7, 13])
def test_later_it_is_what_the_list_will_say_if_all_goes_on_as_before(line, days: int) -> None:
    # two weeks later the weeks look the same, so pick-up has only more of the same to stand on
    made = steady(line(TEXT, at="2025-11-03T08:00:00+00:00"), MONDAY)
    later = MONDAY + timedelta(weeks=2)
    ahead, _ = seen(made, MONDAY, later, days)
    after = steady(line(TEXT, name="later.db", at="2025-11-03T08:00:00+00:00"), later)
    after.now = f"{later}T09:00:00+00:00"
    _, listed = seen(after, later, later, days)
    assert mean_of(ahead) == pytest.approx(mean_of(listed), rel=0.08)
    size = max(len(ahead), len(listed))
    one, other = (np.pad(pmf, (0, size - len(pmf))) for pmf in (ahead, listed))
    assert np.abs(np.cumsum(one) - np.cumsum(other)).max() < 0.04


def test_another_weekday_and_a_week_that_is_closed(line) -> None:
    # derived: nothing is booked on a closed day, so what is expected from a Thursday on for a week that is closed from the
    # Monday in it on is what is expected until its Sunday
    closed = TEXT.replace("margin_minutes = 0", "margin_minutes = 0\nclosed = [{ from = 2026-03-23, to = 2026-03-29 }]")
    made = steady(line(closed, at="2025-11-03T08:00:00+00:00"), MONDAY)
    thursday = MONDAY + timedelta(days=17)
    a_week, _ = seen(made, MONDAY, thursday, 7)
    four_days, _ = seen(made, MONDAY, thursday, 3)
    open_, _ = seen(made, MONDAY, thursday - timedelta(weeks=1), 7)
    assert mean_of(a_week) == pytest.approx(mean_of(four_days), abs=1e-6) and mean_of(a_week) < mean_of(open_)


def test_a_part_is_never_more_than_the_whole(line) -> None:
    made = steady(line(TEXT, at="2025-11-03T08:00:00+00:00"), MONDAY)
    with opened(made.where).reading() as conn:
        ((here, expected),) = order_plan(conn, rules(conn, instant(MONDAY)), instant(MONDAY)).bases
        ahead = StillAhead(expected, here.products["SWAB"])
        at = instant(MONDAY + timedelta(weeks=3))
        whole = only(ahead.unbooked(at, at + 9 * 86_400, 0.95))
        for days in range(1, 10):
            part = only(ahead.unbooked(at, at + days * 86_400, 0.95, at + 9 * 86_400))
            assert mean_of(part) <= mean_of(whole) + 1e-9
        assert part.tolist() == whole.tolist()
