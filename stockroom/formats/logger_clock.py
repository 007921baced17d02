"""A logger's clock -> instants: what its wall clock means in a zone, over the days on which clocks change.

A stamp without an offset is a time on the clocks of the practice. Clocks skip an hour in spring: such a stamp
cannot have been, and its line is rejected. In autumn an hour comes twice: the order of the file decides, and where
the file has that hour only once, the readings on either side of it.
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from stockroom.core.units import length
from stockroom.formats.logger_times import DAY, instants, wall_text
from stockroom.formats.table_text import Rejected

NAIVE = int(np.iinfo(np.int32).min)
"""Stands in an array of offsets for "no offset is written"."""

_MOST_NOTED = 5
_AROUND, _LEAST_STEPS = 500, 3
"""So many rows on either side tell the usual step, and so many steps are needed for it."""
_SHORTEST_PAUSE, _LONG_STEPS = 3600, 12
"""A pause longer than an hour, and than so many usual steps, is named."""
_BLOCK = 1 << 16

Int64 = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Placed:
    """Instants for the rows that have one: ``kept`` marks them among the rows given (None: all)."""

    at: Int64
    kept: NDArray[np.bool_] | None
    rejected: tuple[Rejected, ...]
    notes: tuple[str, ...]


def placed(wall: Int64, offset: NDArray[np.int32], milli: Int64, line: Int64, zone: ZoneInfo) -> Placed:
    """UTC seconds for rows in file order; ``wall`` is overwritten with them.

    ``offset`` is seconds east of UTC, NAIVE where the clocks of ``zone`` are meant. ``milli`` only serves to
    tell a line written twice from an hour that came twice.
    """
    naive = offset == NAIVE
    if not naive.any():
        wall -= offset
        return Placed(wall, None, (), jump_notes(wall, line))
    order = -1 if np.count_nonzero(wall[1:] < wall[:-1]) > np.count_nonzero(wall[1:] > wall[:-1]) else 1
    shift = offset.copy()
    special = _steady_offsets(wall, naive, shift, zone)
    kept = np.ones(len(wall), np.bool_)
    rejected: list[Rejected] = []
    doubled: list[tuple[int, tuple[int, ...]]] = []
    for i in special.tolist():
        stood = int(wall[i])
        found = instants(stood, zone)
        if not found:
            kept[i] = False
            rejected.append(Rejected(int(line[i]), f"{wall_text(stood)} does not exist in {zone.key}: clocks went on"))
        elif len(found) == 1:
            shift[i] = stood - found[0]
        else:
            doubled.append((i, found))
    notes = _doubled_hours(doubled, wall, shift, milli, order)
    if rejected:
        notes.append(
            f"{len(rejected)} lines stand in an hour that {zone.key} skipped: a logger that keeps one time all year "
            "needs --zone with that time, such as Etc/GMT-1 for one hour ahead of UTC"
        )
    wall -= shift
    at = wall if not rejected else wall[kept]
    notes.extend(jump_notes(at, line if not rejected else line[kept]))
    return Placed(at, kept if rejected else None, tuple(rejected), tuple(notes))


def _steady_offsets(wall: Int64, naive: NDArray[np.bool_], shift: NDArray[np.int32], zone: ZoneInfo) -> Int64:
    """Fills ``shift`` on days on which the zone's offset does not change; gives the indices of the other rows.

    A day counts as steady when the offset is the same three hours before it begins and after it ends: no zone
    changes twice within thirty hours.
    """
    day = (wall // DAY).astype(np.int32)
    first = int(day[naive].min())
    there = np.zeros(int(day[naive].max()) - first + 1, np.bool_)
    there[day[naive] - first] = True
    table = np.full(len(there), NAIVE, np.int32)
    for index in np.flatnonzero(there).tolist():
        start = (first + index) * DAY - _offset_at((first + index) * DAY, zone)
        before, after = _offset_at(start - 3 * 3600, zone), _offset_at(start + DAY + 3 * 3600, zone)
        if before == after:
            table[index] = before
    shift[naive] = table[day[naive] - first]
    return np.flatnonzero(shift == NAIVE)


def _offset_at(utc: int, zone: ZoneInfo) -> int:
    """Seconds east of UTC in a zone at an instant."""
    offset = datetime.fromtimestamp(utc, UTC).astimezone(zone).utcoffset()
    return round(offset.total_seconds()) if offset else 0


def _doubled_hours(
    doubled: list[tuple[int, tuple[int, ...]]], wall: Int64, shift: NDArray[np.int32], milli: Int64, order: int
) -> list[str]:
    """Fills ``shift`` for rows in an hour that came twice, run by run of neighbouring rows; says how."""
    notes: dict[str, None] = {}
    at = 0
    while at < len(doubled):
        stop = at + 1
        while (
            stop < len(doubled)
            and doubled[stop][0] == doubled[stop - 1][0] + 1
            and abs(int(wall[doubled[stop][0]]) - int(wall[doubled[at][0]])) < DAY // 2
        ):
            stop += 1
        run = doubled[at:stop][::order]
        rows = [i for i, _ in run]
        turn = _turn([int(wall[i]) for i in rows], [int(milli[i]) for i in rows])
        seen = turn is not None
        if turn is None:
            turn = _likely_turn(wall, rows, order, run[0][1][1] - run[0][1][0])
        for position, (i, found) in enumerate(run):
            shift[i] = int(wall[i]) - found[1 if position >= turn else 0]
        on = date.fromordinal(719_163 + int(wall[rows[0]]) // DAY)
        what = f"the hour that occurs twice on {on}"
        if seen or 0 < turn < len(run):
            notes[f"{what} was kept in order"] = None
        else:
            which = "second of the two, as what follows joins it" if turn == 0 else "first of the two"
            notes[f"{what} is in the file only once: read as the {which}"] = None
        at = stop
    return list(notes)


def _turn(walls: list[int], millis: list[int]) -> int | None:
    """Where, in a run of stamps in an hour that came twice, the second pass begins; None if nothing shows it.

    It begins where the clock goes back; where it never does, at a stamp that comes again with another
    temperature, or again as the only one there is (a logger that writes once an hour).
    """
    pairs = range(1, len(walls))
    back = next((i for i in pairs if walls[i] < walls[i - 1]), None)
    if back is not None:
        return back
    alone = len(set(walls)) == 1
    return next(
        (i for i in pairs if walls[i] == walls[i - 1] and (alone or millis[i] != millis[i - 1])),
        None,
    )


def _likely_turn(wall: Int64, rows: list[int], order: int, length: int) -> int:
    """Where the second pass begins, for a run in an hour that came twice in which no clock goes back.

    One step into, within or out of the run is ``length`` seconds longer than it looks: the one that is as long as
    the file's usual step with them, or the only one that is too long without. 0: all of it was the second pass; the
    run's length: all of it was the first, which also stands where nothing tells.
    """
    near = slice(max(0, min(rows) - _AROUND), max(rows) + _AROUND)
    steps = np.diff(wall[near]) * order
    steps = steps[steps > 0]
    if len(steps) < _LEAST_STEPS:
        return len(rows)
    usual = float(np.median(steps))
    path = [rows[0] - order, *rows, rows[-1] + order]

    def gain(one: int, other: int) -> tuple[int, bool]:
        if not (0 <= one < len(wall) and 0 <= other < len(wall)):
            return 0, False
        step = int(wall[other]) - int(wall[one])
        fits = abs(step + length - usual) <= 0.4 * usual
        return fits - (step <= 1.4 * usual), fits

    gains = [gain(one, other) for one, other in pairwise(path)]
    return max(range(len(gains)), key=lambda k: (gains[k][0], k == len(rows), gains[k][1]))


def jump_notes(at: Int64, line: Int64) -> tuple[str, ...]:
    """Where a file in order of time (or newest first) is out of that order, or pauses; the rows themselves stay."""
    falls, rises = at[1:] < at[:-1], at[1:] > at[:-1]
    newest_first = bool(np.count_nonzero(falls) > np.count_nonzero(rises))
    jumps = np.flatnonzero(rises if newest_first else falls)
    notes = [
        f"the clock jumped {'on' if newest_first else 'back'} {_span(abs(int(at[i + 1] - at[i])))} "
        f"at line {int(line[i + 1])}"
        for i in jumps[:_MOST_NOTED].tolist()
    ]
    if newest_first:
        notes.insert(0, "the file has the newest reading first")
    if len(jumps) > _MOST_NOTED:
        notes.append(f"the clock jumped at {len(jumps) - _MOST_NOTED} more lines")
    return (*notes, *_pauses(at, line, -1 if newest_first else 1))


def _pauses(at: Int64, line: Int64, order: int) -> list[str]:
    """Steps onward that are far longer than the usual one; ``order`` is -1 for the newest reading first."""
    # Block by block: a long file seldom has a step of more than an hour, and needs no array of steps then.
    long = [
        begin + i
        for begin in range(0, len(at) - 1, _BLOCK)
        for i in np.flatnonzero(np.diff(at[begin : begin + _BLOCK + 1]) * order > _SHORTEST_PAUSE).tolist()
    ]
    if not long:
        return []
    apart = max(_BLOCK, len(at) // 16)
    steps = np.concatenate([np.diff(at[b : b + _BLOCK // 16 + 1]) for b in range(0, len(at) - 1, apart)]) * order
    usual = float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0
    longest = max(_SHORTEST_PAUSE, _LONG_STEPS * usual)
    found = [i for i in long if (int(at[i + 1]) - int(at[i])) * order > longest]
    notes = [
        f"nothing for {_span(abs(int(at[i + 1] - at[i])))} between lines {int(line[i])} and {int(line[i + 1])}: "
        "a pause, or a clock that was set on"
        for i in found[:_MOST_NOTED]
    ]
    if len(found) > _MOST_NOTED:
        notes.append(f"{len(found) - _MOST_NOTED} more pauses, all longer than {_span(int(longest))}")
    return notes


def _span(seconds: int) -> str:
    """``45 s``, ``10 min``, ``2 h 47 min``: as everywhere, but small jumps of a clock to the second."""
    return f"{seconds} s" if seconds < 120 else length(seconds)
