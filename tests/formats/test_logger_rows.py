"""The quick way and the exact way give the same; damaged files never do worse than a refusal."""

import struct
from collections.abc import Callable
from datetime import UTC, datetime
from itertools import product
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from stockroom.errors import Refused
from stockroom.formats import logger_rows
from stockroom.formats.bookings_csv import read_bookings
from stockroom.formats.date_order import DateOrder
from stockroom.formats.logger_columns import layout_of
from stockroom.formats.logger_csv import LoggerFile, read_logger
from stockroom.formats.logger_rows import Rows, rows_of
from stockroom.formats.stock_csv import read_count, read_opening
from stockroom.formats.table_text import plain_text

AMSTERDAM = ZoneInfo("Europe/Amsterdam")

STAMPS = st.one_of(
    st.datetimes(datetime(1988, 1, 1), datetime(2102, 1, 1)).flatmap(
        lambda d: st.builds(
            lambda mark, size, zone: d.isoformat(mark)[:size] + zone,
            st.sampled_from("T  /"),
            st.sampled_from([10, 13, 16, 19, 19, 19, 23]),
            st.sampled_from(["", "", "Z", "z", "+02:00", "-14:00", "+14:01", "+09:75", "+0200", " UTC"]),
        )
    ),
    st.sampled_from(["2026-02-29 10:00", "2024-02-29T23:59:59Z", "2026-05-04T24:00:00Z", "2100-02-29 10:00", "", "x"]),
    st.text(st.sampled_from("0123456789-:TZ+ "), min_size=14, max_size=26),
)
VALUES = st.one_of(
    st.integers(-70_000, 70_000).map(lambda n: str(n / 1000)),
    st.integers(-700, 700).map(lambda n: f"{n / 10}".replace(".", ",")),
    st.sampled_from(
        ["4", "-0", "-0.0", "+4", ".5", "5.", "-.5", "--4", "4-", "0000004.", "00000004", "1e1", "4.2 °C", "39.9F", ""]
    ),
    st.text(st.sampled_from("0123456789.,- "), max_size=10),
)


def both_ways(text: str, unit: str, lines: int = 4) -> tuple[Rows, Rows]:
    """Both readings of a text whose first ``lines`` are sound and say how it is laid out."""
    plain, top = (plain_text(t.encode(), "log.csv") for t in (text, "".join(text.splitlines(True)[:lines])))
    layout = layout_of(top, "log.csv", None if unit == "" else unit, None, None)  # type: ignore[arg-type]
    quick, exact = (rows_of(plain.data, layout, DateOrder(True), "log.csv", quick=q) for q in (True, False))
    return quick, exact


@settings(max_examples=400, deadline=None)
@given(
    rows=st.lists(st.tuples(STAMPS, VALUES, st.sampled_from(["", "a", '"q"', '"a', "ü"])), max_size=25),
    mark=st.sampled_from(",;\t|"),
    end=st.sampled_from(["\n", "\r\n"]),
    columns=st.permutations([0, 1, 2]),
    width=st.integers(2, 3),
    unit=st.sampled_from(["", "C", "F"]),
    closed=st.booleans(),
)
def test_quick_and_exact_give_the_same(
    rows: list[tuple[str, str, str]], mark: str, end: str, columns: list[int], width: int, unit: str, closed: bool
) -> None:
    order = [c for c in columns if c < width]
    first = ("2026-05-04T03:10:00Z", "4.2", "note")
    table = [("time", "temp", "remark"), first, first, first, *rows]
    text = end.join(mark.join(row[c] for c in order) for row in table) + (end if closed else "")
    quick, exact = both_ways(text, unit)
    assert quick.rejected == exact.rejected
    for name in ("wall", "offset", "milli", "line"):
        assert getattr(quick, name).tolist() == getattr(exact, name).tolist()
    assert len(exact.wall) >= 3


def test_every_edge_of_a_stamp_and_a_value_is_the_same_both_ways() -> None:
    edges = product(
        ["1989", "1990", "2024", "2025", "2100", "2101"], ["00", "01", "02", "12", "13"],
        ["00", "01", "28", "29", "30", "31", "32"], ["00", "23", "24", "25"], ["00", "59", "60"], ["00", "59", "60"],
    )  # fmt: skip
    offsets = product(["+", "-"], ["00", "13", "14", "15"], ["00", "01", "59", "60"])
    stamps = ["{}-{}-{}T{}:{}:{}Z".format(*edge) for edge in edges]
    stamps += ["2026-05-04 03:10{}{}:{}".format(*offset) for offset in offsets]
    values = ["".join(v) for size in range(1, 6) for v in product("05.-", repeat=size)]
    top = "time;temp\n" + "2026-05-04T03:10:00Z;4.2\n" * 3
    quick, exact = both_ways(
        top + "".join(f"{s};4.2\n" for s in stamps) + "".join(f"2026-05-04 03:10;{v}\n" for v in values), "C"
    )
    assert quick.rejected == exact.rejected and len(quick.wall) > 500
    for name in ("wall", "offset", "milli", "line"):
        assert getattr(quick, name).tolist() == getattr(exact, name).tolist()


def test_every_thousandth_of_either_scale_is_the_same_both_ways() -> None:
    # derived: (F - 32) x 5/9 by decimal arithmetic on one side, by whole numbers on the other
    for unit, low, high in (("C", -60_001, 60_002), ("F", -76_001, 140_002)):
        text = "time,temp\n" + "".join(f"2026-05-04 03:10,{n / 1000}\n" for n in range(low, high, 7))
        quick, exact = both_ways(text, unit)
        assert quick.milli.tolist() == exact.milli.tolist() and len(quick.milli) > 10_000
        assert quick.rejected == exact.rejected


def test_usual_lines_do_take_the_quick_way(monkeypatch: pytest.MonkeyPatch) -> None:
    def slow(*_: object) -> str:
        raise AssertionError("read the slow way")

    monkeypatch.setattr(logger_rows, "_exact", slow)
    for stamp in ("2026-05-04T03:10:00Z", "2026-05-04 03:10", "2026-05-04 03:10:00", "2026-05-04T03:10:00+02:00",
                  "2026-05-04 03:10Z", "2026-05-04T03:10-01:00"):  # fmt: skip
        for value in ("4.2", "-0.4", "12", "-12.345"):
            got = read_logger(f"time,temp\r\n{stamp},{value}\r\n".encode(), "x", zone=AMSTERDAM)
            assert got.milli.tolist() == [round(float(value) * 1000)]


def test_a_file_of_several_pieces_is_one_file(monkeypatch: pytest.MonkeyPatch) -> None:
    start = int(datetime(2026, 1, 1, tzinfo=UTC).timestamp())
    lines = ["time;temp"]
    for i in range(3000):
        when = datetime.fromtimestamp(start + 600 * i, UTC)
        lines.append("junk" if i % 50 == 7 else f"{when:%Y-%m-%dT%H:%M:%SZ};{i % 97 / 10:.1f}".replace(".", ",", i % 2))
    data = "\n".join(lines).encode()
    whole = read_logger(data, "x", zone=AMSTERDAM)
    monkeypatch.setattr(logger_rows, "CHUNK", 100)
    pieces = read_logger(data, "x", zone=AMSTERDAM)
    kept = [i for i in range(3000) if i % 50 != 7]
    for got in (whole, pieces):
        assert got.at.tolist() == [start + 600 * i for i in kept] and got.line.tolist() == [i + 2 for i in kept]
        assert got.milli.tolist() == [i % 97 * 100 for i in kept]
        assert [r.line for r in got.rejected] == [i + 2 for i in range(3000) if i % 50 == 7] and got.lines == 3000


LOG = (
    "Report;x\r\nmin;1,5\r\n\r\nNo;Zeit;Temp °C;Bemerkung\r\n"
    + "".join(f'{i};{i % 28 + 1}.10.2026 0{i % 10}:30:00;{i % 9},{i % 10};"a;b"\r\n' for i in range(30))
    + "31;2026-10-25T02:30:00+01:00;4 °C;\r\n"
)
ISO = "time,temp\n" + "".join(f"2026-10-25T0{i % 10}:{i:02}:00,{i % 9}.{i % 10}\n" for i in range(30))
BOOKINGS = (
    "id,procedure,start,patient,cycles,state,made,site\n"
    'B-1,whitening,2026-05-04 10:00,P-104,6,booked,2026-05-01,\nB-2,"white\nning",13/05/2026 10:00,P-105,,cancelled,,\n'
)
STOCK = "product,lot,expiry,quantity,place,why\nCK,A1,2027-01,4,Fridge 1,x\nSWAB,B2,31/01/2027,200,Cupboard,\n"


def damaged(text: str) -> st.SearchStrategy[bytes]:
    """Bytes of a good file with some overwritten, cut out, doubled or put in."""
    junk = st.sampled_from([b"\0", b'"', b"\xff", b"\r", b"\n", b",", b";", b"\x1b[2J", b"9" * 400, "۴".encode(), b"e", b"-",
                            b"1e309", b"+99:99", b"00/00/0000", b"sep=;\n", b"PK\x03\x04", b"\xef\xbb\xbf"]) | st.binary(max_size=6)  # fmt: skip
    change = st.tuples(st.integers(0, len(text)), st.integers(0, 60), junk)

    def apply(encoding: str, changes: list[tuple[int, int, bytes]]) -> bytes:
        data = text.encode(encoding)
        for at, gone, put in changes:
            data = data[:at] + put + data[at + gone :]
        return data

    return st.builds(
        apply, st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]), st.lists(change, max_size=5)
    ) | st.binary(max_size=80)


def sound(got: LoggerFile) -> None:
    assert len(got.at) == len(got.milli) == len(got.line) > 0 and got.lines == len(got.at) + len(got.rejected)
    assert np.all(np.abs(got.milli) <= 60_000) and len(np.unique(got.line)) == len(got.line)
    assert {r.line for r in got.rejected}.isdisjoint(got.line.tolist())


@settings(max_examples=500, deadline=None)
@given(
    data=damaged(LOG) | damaged(ISO),
    day_first=st.sampled_from([None, True, False]),
    column=st.sampled_from([None, "1", "3", "Temp °C", "+", ""]),
)
@example(data=struct.pack("<I", 0xFEFF), day_first=None, column=None)
def test_damaged_logs_are_read_or_refused(data: bytes, day_first: bool | None, column: str | None) -> None:
    for more in ({}, {"temperature_column": column}, {"time_column": column}):
        try:
            got = read_logger(data, "log.csv", zone=AMSTERDAM, day_first=day_first, **more)
        except Refused as no:
            assert no.slug and no.what and "\x1b" not in no.what + no.todo and len(no.what + no.todo) < 2000
        else:
            sound(got)
            assert not any("\x1b" in text for text in (*got.notes, *(r.why for r in got.rejected)))


READERS: list[Callable[[bytes], object]] = [
    lambda data: read_bookings(data, "b.csv", zone=AMSTERDAM),
    lambda data: read_opening(data, "s.csv"),
    lambda data: read_count(data, "s.csv"),
]


@settings(max_examples=400, deadline=None)
@given(data=damaged(BOOKINGS) | damaged(STOCK), reader=st.sampled_from(READERS))
def test_damaged_tables_are_read_or_refused(data: bytes, reader: Callable[[bytes], object]) -> None:
    try:
        got = reader(data)
    except Refused as no:
        assert no.slug and no.what and "\x1b" not in no.what + no.todo and len(no.what + no.todo) < 3000
    else:
        assert "\x1b" not in repr(got) and "\\x1b" not in repr(got)
