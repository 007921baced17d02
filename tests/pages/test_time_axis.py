"""Ticks of days and hours. Source: the clock changes of Europe/Amsterdam in 2026 (29 March and 25 October)."""

from datetime import datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest

from stockroom.core.opening import Opening
from stockroom.core.practice import Site
from stockroom.pages.time_axis import ticks

ZONE = ZoneInfo("Europe/Amsterdam")
OPENING = Opening("Europe/Amsterdam", Site("", ((),) * 7))


def at(*when: int) -> int:
    return int(datetime(*when, tzinfo=ZONE).timestamp())  # type: ignore[arg-type, misc]


@pytest.mark.parametrize(("change", "hours"), [((2026, 3, 29), 23), ((2026, 10, 25), 25)])
def test_a_day_on_which_clocks_change_is_an_hour_shorter_or_longer(change: tuple[int, ...], hours: int) -> None:
    year, month, day = change
    found = ticks(OPENING, at(year, month, day - 3), at(year, month, day - 3) + 7 * 86_400, 10)
    gaps = [b.at - a.at for a, b in pairwise(found)]
    assert gaps[:6] == [86_400] * 3 + [hours * 3600] + [86_400] * 2
    assert found[3].label == f"Sun {day}"


def test_hours_stand_where_the_clock_shows_them() -> None:
    found = ticks(OPENING, at(2026, 3, 29), at(2026, 3, 30), 8)
    assert [t.label for t in found] == [
        "Sun 29",
        "03:00",
        "06:00",
        "09:00",
        "12:00",
        "15:00",
        "18:00",
        "21:00",
        "Mon 30",
    ]
    assert [t.at for t in found] == [at(2026, 3, 29, h) for h in range(0, 24, 3)] + [at(2026, 3, 30)]


def test_an_hour_that_is_skipped_stands_once() -> None:
    found = ticks(OPENING, at(2026, 3, 29), at(2026, 3, 29, 6), 24)
    assert [t.label for t in found] == ["Sun 29", "01:00", "02:00", "04:00", "05:00", "06:00"]


@pytest.mark.parametrize("days", [1, 2, 3, 7, 14, 31, 60, 90, 365, 1200, 3660])
@pytest.mark.parametrize("most", [6, 8, 14])
def test_there_is_never_a_crowd_nor_an_empty_axis(days: int, most: int) -> None:
    end = at(2026, 4, 14, 9)
    found = ticks(OPENING, end - days * 86_400, end, most)
    assert 1 <= len(found) <= most + 2
    assert all(end - days * 86_400 <= t.at <= end for t in found)
    assert [t.at for t in found] == sorted({t.at for t in found})
