"""Weeks that begin at any hour, by the local clock, with the share of their usual time that they are staffed."""

from datetime import UTC, date, datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from stockroom.core.block_grid import MOST_PAST, block_grid
from stockroom.core.opening import DayException, Opening
from stockroom.core.practice import Closure, Site

ZONE = ZoneInfo("Europe/London")
DAY = ((540, 1020),)  # 09:00-17:00
WEEK = (DAY, DAY, DAY, DAY, DAY, (), ())


def opening(hours=WEEK, closed=(), exceptions=()) -> Opening:
    return Opening("Europe/London", Site("", hours, closed), exceptions)


def local(text: str) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=ZONE).timestamp())


def clock(at: int) -> datetime:
    return datetime.fromtimestamp(int(at), UTC).astimezone(ZONE)


def grid(when: str, *, since: str = "2026-01-05T00:00", ahead: int = 3, ruled=None, **hours):
    return block_grid(local(when), local(since), ahead, opening(**hours), ruled or [])


@pytest.mark.parametrize(
    ("when", "since", "odd"),
    [
        ("2026-04-08T11:20:07", "2026-03-20T00:00", [("2026-03-28", 23)]),
        ("2026-10-20T11:20:07", "2026-10-01T00:00", [("2026-10-24", 25)]),
        # 01:30 is skipped: that day begins at 02:00, half an hour late
        ("2026-04-01T01:30:00", "2026-03-20T00:00", [("2026-03-28", 23.5), ("2026-03-29", 23.5)]),
    ],
)
def test_days_begin_at_the_clock_time_that_is_asked_about_over_clock_changes(when, since, odd) -> None:
    # derived: the clocks go on 2026-03-29 and back on 2026-10-25
    g = grid(when, since=since)
    assert int(g.marks[7 * g.past]) == local(when)
    lengths = [(clock(a).date().isoformat(), (b - a) / 3600) for a, b in pairwise(g.marks.tolist())]
    assert [x for x in lengths if x[1] != 24] == odd
    assert len({clock(m).time() for m in g.marks.tolist()}) == len(odd)
    assert np.allclose(g.share, 1)


def test_how_far_back() -> None:
    # a block more than the record has, and no more than five years
    g = grid("2026-03-02T09:00", since="2026-02-23T09:00")
    assert (g.past, g.ahead, len(g.marks)) == (3, 3, 43)
    assert grid("2026-03-02T09:00", since="1990-01-01T09:00").past == MOST_PAST
    assert grid("2026-03-02T09:00", since="2027-01-01T09:00").past == 2
    assert [clock(b).isoformat()[:16] for b in g.bounds[-2:]] == ["2026-02-23T09:00", "2026-03-02T09:00"]


def test_the_share_of_each_day() -> None:
    # derived: from Wednesday 13:00, half a day and half a day; closed on Thursday 5 and Friday 6 March
    g = grid("2026-03-04T13:00", closed=(Closure(date(2026, 3, 5), date(2026, 3, 6)),))
    assert g.share[g.past].tolist() == [0.5, 0, 0, 1, 1, 1, 1]
    assert g.share[: g.past].min() == g.share[g.past + 1 :].min() == 1
    # Wednesday to Thursday, Thursday to Friday: a fifth of the week each; Friday to Saturday and Sunday to Monday a tenth
    assert g.usual == pytest.approx([0.2, 0.2, 0.1, 0, 0.1, 0.2, 0.2])
    assert g.week_share[g.past] == pytest.approx(1 - 0.1 - 0.2 - 0.1)


def test_days_closed_and_opened_by_a_person() -> None:
    shut = DayException(date(2026, 2, 25), False, 540, 780)  # the morning of a Wednesday
    extra = DayException(date(2026, 2, 28), True, 540, 1020)  # a Saturday, which the usual hours do not have
    longer = DayException(date(2026, 3, 3), True, 480, 1080)  # a Tuesday of ten hours
    g = grid("2026-03-02T00:00", exceptions=(shut, extra, longer))
    assert g.share[g.past - 1].tolist() == [1, 1, 0.5, 1, 1, 1, 1]
    assert g.share[g.past].tolist() == [1, 1.25, 1, 1, 1, 1, 1]


def test_each_time_by_the_hours_that_ruled_then() -> None:
    # derived: until Monday 16 February there were four hours a day, and a closure that the file of now does not name
    before = opening((((540, 780),),) * 5 + ((), ()), (Closure(date(2026, 2, 10), date(2026, 2, 10)),))
    change, end = local("2026-02-16T00:00"), 1 << 60
    g = grid("2026-03-02T00:00", ruled=[(-end, change, before), (change, end, opening())])
    assert g.share[:, :5].mean(axis=1).tolist() == [0.5] * (g.past - 3) + [0.4] + [1] * (g.ahead + 2)
    # a file that is loaded later does not rule yet
    later = [
        (-end, change, before),
        (change, local("2026-03-09T00:00"), opening()),
        (local("2026-03-09T00:00"), end, before),
    ]
    assert grid("2026-03-02T00:00", ruled=later).share.tolist() == g.share.tolist()


def test_a_site_that_is_never_staffed() -> None:
    g = grid("2026-03-02T00:00", hours=((),) * 7)
    assert g.share.min() == g.share.max() == 1 and g.week_share.tolist() == [1] * (g.past + g.ahead)
