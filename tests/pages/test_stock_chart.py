"""The stock's path as text and as a picture: what is drawn is what was computed. Expectations are counted by hand.

One practice in Amsterdam, Monday 2 March 2026 00:00 to Monday 16 March: 14 days.
"""

import re
import xml.etree.ElementTree as ET
from datetime import UTC, datetime

import pytest

from stockroom.core.opening import Opening
from stockroom.core.practice import Site
from stockroom.core.stock_path import Arrival, StockPath
from stockroom.pages.stock_svg import stock_svg
from stockroom.pages.stock_text import stock_text
from stockroom.tasks.outlook import Outlook

START = int(datetime(2026, 3, 1, 23, tzinfo=UTC).timestamp())
DAY = 86_400
NINE_TO_FIVE = tuple(((540, 1020),) for _ in range(7))


def outlook(expected, bad, arrivals=(), expiries=(), covers=10, name="Cold <kit> & co", site="") -> Outlook:
    """A path with a value for each day."""
    path = StockPath(
        START, START + 14 * DAY, START + covers * DAY, tuple(START + d * DAY for d in range(15)), tuple(expected),
        tuple(bad), tuple(Arrival(START + d * DAY, n, label) for d, n, label in arrivals),
        tuple((int(START + d * DAY), n) for d, n in expiries),
    )  # fmt: skip
    return Outlook("Salt <b> Dental", site, "KIT", name, path, Opening("Europe/Amsterdam", Site("", NINE_TO_FIVE)))


FALLING = outlook(
    [6, 6, 5, 5, 4, 4, 8, 8, 7, 7, 6, 6, 3, 3, 3],
    [6, 5, 4, 3, 2, 1, 5, 4, 3, 2, 1, 0, -1, -1, -2],
    arrivals=[(6, 4, "O-1")],
    expiries=[(12, 2.6), (13, 0.01)],
)


def plot(text: str) -> list[str]:
    """The rows of the plot, their scale left out."""
    return [x[8:] for x in text.splitlines() if len(x) > 8 and x[7] in "|+┤│"][: text.count("\n")]


@pytest.mark.parametrize("encoding", ["utf-8", "ascii"])
def test_each_column_stands_for_its_day(encoding: str) -> None:
    there, short, line = "▒×━" if encoding == "utf-8" else "#x="
    # 14 days in 70 columns: five to a day
    text = stock_text(FALLING, 79, 10, encoding)
    rows = plot(text)[:10]
    assert len(rows) == 10
    for day, (expected, bad) in enumerate(zip(FALLING.path.expected[:14], FALLING.path.bad, strict=False)):
        column = [row.ljust(70)[5 * day + 2] for row in rows]
        assert column.count(short) == max(0, -bad), day
        assert column[8 - expected] == line, day
        assert column[:8].count(there) == max(0, bad) - (1 if bad >= expected else 0), day
    assert text.isascii() == (encoding == "ascii")


def test_the_scale_has_whole_pieces_and_a_row_for_zero() -> None:
    lines = stock_text(FALLING, 79, 10, "ascii").splitlines()
    assert [x[:6].strip() for x in lines[:11]] == ["8", "", "6", "", "4", "", "2", "", "0", "", "-2"]
    # fewer rows: two pieces to each
    lines = stock_text(FALLING, 79, 6, "ascii").splitlines()
    assert [x[:6].strip() for x in lines[:6]] == ["8", "6", "4", "2", "0", "-2"]
    many = outlook([1234] * 15, [900] * 15)
    lines = stock_text(many, 79, 5, "ascii").splitlines()
    assert int(lines[0][:6]) >= 1234 and len(plot("\n".join(lines))) <= 6


def test_what_comes_and_goes_stands_under_its_day() -> None:
    lines = stock_text(FALLING, 79, 10, "ascii").splitlines()
    (events,) = [x for x in lines if "+4" in x]
    assert (events.index("+4"), events.index("-2.6")) == (8 + 30, 8 + 60)
    assert "-0.01" not in "".join(lines)  # a hundredth of a piece is no news
    # two at one time are one mark; what has no room goes into another row
    close = outlook([5] * 15, [5] * 15, arrivals=[(6, 4, "O-1"), (6, 3, "this order")], expiries=[(6.2, 5)])
    lines = stock_text(close, 79, 10, "ascii").splitlines()
    assert any("+7" in x for x in lines) and any(x.strip() == "-5" for x in lines)


def test_the_legend_names_what_is_drawn_and_fits() -> None:
    lines = stock_text(FALLING, 79, 10, "utf-8").splitlines()
    assert lines[-2:] == [
        "  ▒ in the bad case  × short in it  ━ expected  +n comes  -n expires",
        "  ┊ must last to here",
    ]
    calm = stock_text(outlook([5] * 15, [4] * 15), 80, 10, "utf-8").splitlines()
    assert calm[-1] == "  ▒ in the bad case  ━ expected  ┊ must last to here"
    for width in (60, 80, 120):
        for o in (FALLING, outlook([5] * 15, [4] * 15)):
            assert max(map(len, stock_text(o, width, 8, "utf-8").splitlines())) <= width


def test_a_short_day_is_never_lost_in_a_narrow_chart() -> None:
    # two days are short in the bad case; at 20 columns there are less than two to a day
    values = [3.0] * 15
    worst = [3.0, 3, 3, -2, -2, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3]
    assert "x" in "".join(plot(stock_text(outlook(values, worst), 29, 6, "ascii")))


def test_the_picture_holds_the_words_and_is_the_same_each_time() -> None:
    both = [FALLING, outlook([5] * 15, [4] * 15, site="South")]
    svg = stock_svg(both)
    assert svg == stock_svg(both)
    words = " ".join(t.text or "" for t in ET.fromstring(svg).iter("{http://www.w3.org/2000/svg}text"))
    for said in ("Salt <b> Dental: KIT (Cold <kit> & co) from Mon 2 Mar 2026 00:00", "South", "+4 O-1", "−2.6", "expected", "there in the bad case",
                 "short in the bad case", "expires unused", "comes", "must last to Thu 12 Mar 00:00"):  # fmt: skip
        assert said in words, said
    assert not re.search(r"<script|href=\"http|<image", svg)
