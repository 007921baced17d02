"""Rows on a wall clock -> instants. Sources: the EU's rule for summer time (published), arithmetic in the comments."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stockroom.formats.logger_clock import NAIVE, Placed, jump_notes, placed
from stockroom.formats.logger_times import instants

AMSTERDAM = ZoneInfo("Europe/Amsterdam")


def face(text: str) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp())


def put(walls: list[int], millis: list[int] | None = None, zone: ZoneInfo = AMSTERDAM) -> Placed:
    count = len(walls)
    return placed(
        np.array(walls, np.int64),
        np.full(count, NAIVE, np.int32),
        np.array(millis or range(count), np.int64),
        np.arange(2, count + 2),
        zone,
    )


def clock(*texts: str) -> list[int]:
    return [face(f"2026-10-25 {t}") for t in texts]


def utc(*texts: str) -> list[int]:
    return [face(f"2026-10-{t}") for t in texts]


def test_autumn_in_order() -> None:
    # 02:00 to 03:00 comes twice: 00:00 to 01:00 UTC in summer time, 01:00 to 02:00 in winter time
    got = put(clock("01:30", "02:00", "02:30", "02:00", "02:30", "03:00"))
    assert got.at.tolist() == utc("24 23:30", "25 00:00", "25 00:30", "25 01:00", "25 01:30", "25 02:00")
    assert got.kept is None and got.notes == ("the hour that occurs twice on 2026-10-25 was kept in order",)


def test_autumn_newest_first() -> None:
    got = put(clock("03:00", "02:30", "02:00", "02:30", "02:00", "01:30"))
    assert got.at.tolist() == utc("25 02:00", "25 01:30", "25 01:00", "25 00:30", "25 00:00", "24 23:30")
    assert got.notes[1:] == ("the file has the newest reading first",)


def test_autumn_with_one_reading_an_hour() -> None:
    got = put(clock("01:10", "02:10", "02:10", "03:10"), [1, 5, 5, 1])
    assert got.at.tolist() == utc("24 23:10", "25 00:10", "25 01:10", "25 02:10")


def test_autumn_undecided_is_the_first_and_said() -> None:
    got = put(clock("01:30", "02:10", "02:40", "03:10"))
    assert got.at.tolist() == utc("24 23:30", "25 00:10", "25 00:40", "25 02:10")
    assert got.notes == (
        "the hour that occurs twice on 2026-10-25 is in the file only once: read as the first of the two",
    )


def test_a_file_that_begins_in_the_second_pass_joins_what_follows() -> None:
    # 02:30 of the second pass is 01:30 UTC; as the first pass 03:00 would come 70 minutes after 02:50
    stamps = ("02:30", "02:40", "02:50", "03:00", "03:10")
    got = put(clock(*stamps))
    assert got.at.tolist() == utc("25 01:30", "25 01:40", "25 01:50", "25 02:00", "25 02:10")
    assert "only once: read as the second of the two, as what follows joins it" in got.notes[0]
    back = put(clock(*stamps[::-1]))
    assert back.at.tolist() == got.at.tolist()[::-1]
    # After a power cut, too: two hours of silence before 02:30, none behind 02:50.
    assert put(clock("00:20", "00:30", *stamps)).at.tolist()[-5:] == got.at.tolist()
    # Nothing behind it, or too little to know the usual step: the first, and said so.
    assert "first of the two" in put(clock("02:30", "02:40", "02:50")).notes[0]
    assert put(clock("02:30", "03:00")).at.tolist() == utc("25 00:30", "25 02:00")
    # A power cut that hides the change: it lies in the only step that is not as long as the others.
    cut = put(clock("01:50", "02:00", "02:10", "02:40", "02:50", "03:00"))
    assert cut.at.tolist() == utc("24 23:50", "25 00:00", "25 00:10", "25 01:40", "25 01:50", "25 02:00")
    assert cut.notes == ("the hour that occurs twice on 2026-10-25 was kept in order",)
    # Every two hours, 00:00 02:00 03:00 05:00 in summer and winter time: regular as the first of the two only.
    two = put(clock("00:00", "02:00", "03:00", "05:00", "07:00"))
    assert two.at.tolist() == utc("24 22:00", "25 00:00", "25 02:00", "25 04:00", "25 06:00")


def test_a_line_written_twice_is_not_an_hour_that_came_twice() -> None:
    same = put(clock("02:10", "02:20", "02:20", "02:30"), [1, 2, 2, 3])
    assert same.at.tolist() == utc("25 00:10", "25 00:20", "25 00:20", "25 00:30")
    extra = clock("01:50", "02:00", "02:10", "02:10", "02:20", "02:20:30", "02:30", "02:40")
    assert put(extra, [1] * 8).at.tolist() == [c - 7200 for c in extra]
    other = put(clock("02:10", "02:20", "02:20", "02:30"), [1, 2, 9, 3])
    assert other.at.tolist() == utc("25 00:10", "25 00:20", "25 01:20", "25 01:30")


def test_the_same_hour_exported_twice_is_two_runs() -> None:
    walls = clock("02:10", "02:10", "12:00", "02:10", "02:10")
    assert put(walls).at.tolist() == utc("25 00:10", "25 01:10", "25 11:00", "25 00:10", "25 01:10")


def test_spring_rejects_what_cannot_have_been() -> None:
    walls = [face(f"2026-03-29 {t}") for t in ("01:59:59", "02:00", "02:59:59", "03:00")]
    got = put(walls)
    assert [r.line for r in got.rejected] == [3, 4] and "2026-03-29 02:00 does not exist" in got.rejected[0].why
    assert got.kept is not None and got.kept.tolist() == [True, False, False, True]
    # 01:59:59 winter time is 00:59:59 UTC, 03:00 summer time is 01:00 UTC: one second apart
    assert got.at.tolist() == [face("2026-03-29 00:59:59"), face("2026-03-29 01:00")]
    assert "Etc/GMT-1" in got.notes[0]


def test_a_midnight_that_was_skipped() -> None:
    # published (time zone database): clocks in Sao Paulo went from 00:00 to 01:00 on 15 October 2017
    walls = [face(f"2017-10-{t}") for t in ("14 23:59", "15 00:00", "15 00:59", "15 01:00")]
    got = put(walls, zone=ZoneInfo("America/Sao_Paulo"))
    assert got.at.tolist() == [face("2017-10-15 02:59"), face("2017-10-15 03:00")]
    assert [r.line for r in got.rejected] == [3, 4]


def test_offsets_are_honoured_row_by_row() -> None:
    got = placed(
        np.array(clock("02:30", "02:30", "12:00")),
        np.array([7200, 3600, NAIVE], np.int32),
        np.array([1, 2, 3]),
        np.array([1, 2, 3]),
        AMSTERDAM,
    )
    assert got.at.tolist() == utc("25 00:30", "25 01:30", "25 11:00") and got.notes == ()


def test_jumps_are_named_by_line() -> None:
    at = np.array([0, 600, 1200, 1200, 1200 - 10800, -9000, 5000])
    assert jump_notes(at, np.arange(10, 17)) == (
        "the clock jumped back 3 h at line 14",
        "nothing for 3 h 53 min between lines 15 and 16: a pause, or a clock that was set on",
    )
    assert jump_notes(at[::-1].copy(), np.arange(7))[1] == "the clock jumped on 3 h at line 3"
    many = jump_notes(np.array([5 * i - 7 * (i % 3 == 2) for i in range(60)]), np.arange(60))
    assert len(many) == 6 and many[0] == "the clock jumped back 2 s at line 2" and "15 more" in many[-1]
    # A pause is one of more than an hour and of twelve usual steps (10 minutes here); newest first as well.
    steps = np.array([600] * 30 + [7200, 600, 7201, 600])
    at = np.concatenate(([0], np.cumsum(steps)))
    assert jump_notes(at, np.arange(len(at))) == (
        "nothing for 2 h between lines 32 and 33: a pause, or a clock that was set on",
    )
    assert "between lines 1 and 2:" in jump_notes(at[::-1].copy(), np.arange(len(at)))[-1]
    assert jump_notes(at[:32], np.arange(32)) == ()
    often = np.cumsum(np.tile([60] * 20 + [90_000], 8))
    assert jump_notes(often, np.arange(len(often)))[-1] == "3 more pauses, all longer than 60 min"


def clock_changes(zone: ZoneInfo, year: int) -> list[int]:
    """The UTC hours of a year at which the zone's offset changes, found by looking at each."""
    first = face(f"{year}-01-01")
    offsets = [datetime.fromtimestamp(first + 3600 * h, UTC).astimezone(zone).utcoffset() for h in range(8760)]
    return [first + 3600 * h for h in range(1, 8760) if offsets[h] != offsets[h - 1]] or [first]


@pytest.mark.parametrize("name", ["Europe/London", "America/Chicago", "Australia/Lord_Howe", "America/Sao_Paulo"])
@settings(max_examples=60)
@given(data=st.data())
def test_a_clock_that_never_stops_is_placed_as_it_ran(name: str, data: st.DataObject) -> None:
    # law: instants -> faces of a clock -> instants gives the same, as far as the faces decide it
    zone = ZoneInfo(name)
    change = data.draw(st.sampled_from(clock_changes(zone, 2017)))
    start = change + data.draw(st.integers(-20_000, 7200))
    step, count = data.draw(st.integers(60, 3000)), data.draw(st.integers(1, 200))
    whole = [start + i * step for i in range(count)]
    walls = [face(datetime.fromtimestamp(t, UTC).astimezone(zone).replace(tzinfo=None).isoformat()) for t in whole]
    got = put(walls, zone=zone)
    assert got.rejected == ()
    # Undecided is only a file too short to know its usual step, and one that lies in that hour as a whole.
    within = len(instants(walls[0], zone)) == len(instants(walls[-1], zone)) == 2
    undecided = (count < 4 or within) and any("first of the two" in note for note in got.notes)
    for true, wall, at in zip(whole, walls, got.at.tolist(), strict=True):
        assert at == true or (undecided and at == instants(wall, zone)[0])
