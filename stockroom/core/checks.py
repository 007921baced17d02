"""Checks by hand that are missing, and whether a probe's calibration is overdue.

``minmax``: one check at the start of each staffed day; ``twice``: at the start and at the end; ``logger``: none
(published: CDC Vaccine Storage and Handling Toolkit, by analogy).
"""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

Check = Literal["opening", "closing"]


@dataclass(frozen=True, slots=True)
class StaffedDay:
    """A local day on which somebody is there, with instants in UTC seconds.

    ``midnight`` begins the day, ``next_midnight`` the one after (23, 24 or 25 hours later); ``first`` and
    ``last`` are the earliest and latest staffed instant.
    """

    day: date
    midnight: int
    first: int
    last: int
    next_midnight: int


def missed_checks(
    kind: Literal["minmax", "twice", "logger"],
    days: Sequence[StaffedDay],
    check_instants: Sequence[int],
    now: int,
    explained: frozenset[tuple[date, str]],
    expected_from: int,
) -> list[tuple[date, Check]]:
    """The checks that should have been made by ``now``, were not, and are not in ``explained``.

    ``check_instants`` are sorted. Opening is any check of that local day before the middle of its staffed time
    (early birds count), closing any from the middle to midnight. An opening check is missed from the middle on, a
    closing one from midnight on. A day counts only where its ``first`` is not before ``expected_from``.
    """
    if kind == "logger":
        return []
    missed: list[tuple[date, Check]] = []
    for day in days:
        if day.first < expected_from:
            continue
        middle = -(-(day.first + day.last) // 2)  # the first whole second that is not before the middle
        due: list[tuple[Check, int, int]] = [("opening", day.midnight, middle)]
        if kind == "twice":
            due.append(("closing", middle, day.next_midnight))
        for check, begin, end in due:
            made = bisect_left(check_instants, begin) < bisect_left(check_instants, end)
            if not made and now >= end and (day.day, check) not in explained:
                missed.append((day.day, check))
    return missed


def calibration(due: date | None, today: date) -> tuple[date | None, bool]:
    """When a probe's calibration is due, and whether that day has passed (on the day itself it has not)."""
    return due, due is not None and today > due
