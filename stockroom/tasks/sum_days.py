"""The readings of a fridge summed up by UTC day, each day by the rules at its beginning."""

from collections.abc import Iterator, Sequence

import numpy as np

from stockroom.core.days import DAY, Day, days_of
from stockroom.store import derived
from stockroom.tasks.stretch import Stretch
from stockroom.tasks.watch import Span


def sum_up(around: Stretch, name: str, rule_spans: Sequence[Span], first: int, last: int) -> None:
    """Keeps the sums of the UTC days ``first`` to ``last``."""
    while around.back_to is not None and around.at[0] >= first * DAY:
        around.back()
    while around.forth_to is not None and around.at[-1] < (last + 1) * DAY:
        around.forth()
    for found, gap, a, b in summed(around, name, rule_spans, first, last):
        derived.keep_days(around.conn, around.key, found, gap, a, b)


def summed(
    around: Stretch, name: str, rule_spans: Sequence[Span], first: int, last: int
) -> Iterator[tuple[list[Day], int, int, int]]:
    """(days, longest gap in seconds, first day, last day) of each span of rules: a day goes by those at its beginning."""
    for start, end, practice in rule_spans:
        fridge = practice.fridge(name)
        a, b = max(first, -(-start // DAY)), min(last, (end - 1) // DAY)
        if fridge is None or a > b:
            continue
        i = max(int(np.searchsorted(around.at, a * DAY)) - 1, 0)
        j = int(np.searchsorted(around.at, (b + 1) * DAY)) + 1
        gap = fridge.max_gap_minutes * 60
        yield days_of(around.at[i:j], around.milli[i:j], gap, a, b), gap, a, b
