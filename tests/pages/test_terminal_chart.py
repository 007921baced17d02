"""A chart as lines of text: what stands where, in braille and in plain ASCII. Figures derived in the comments."""

from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from stockroom.core.envelope import envelope
from stockroom.core.opening import Opening
from stockroom.core.practice import Fridge, Site
from stockroom.core.records import HandCheck
from stockroom.core.spells import Gap, gaps
from stockroom.pages.terminal_chart import FINE, GUTTER, HEIGHT, PLAIN, Marks, chart_text, marks_for, parts
from stockroom.tasks.chart import Chart, FridgeChart, Limit

ZONE = "Europe/Amsterdam"
END = int(datetime(2026, 3, 9, 9, tzinfo=ZoneInfo(ZONE)).timestamp())
FRIDGE = Fridge("Cold one", 2000, 8000, logger_minutes=10)
OWN = (Limit(True, 8000), Limit(False, 2000))


def chart(
    values: dict[int, int], *, days: int = 7, width: int = 80, checks: tuple[HandCheck, ...] = (), name: str = "Cold one",
    limits: tuple[Limit, ...] = OWN, more: tuple[Gap, ...] = (),
) -> Chart:  # fmt: skip
    """Readings (minutes before the end -> thousandths)."""
    at = np.array(sorted(END - 60 * m for m in values), dtype=np.int64)
    milli = np.array([values[(END - t) // 60] for t in at.tolist()], dtype=np.int64)
    silent = [*gaps(at, 3600), *more]
    start = END - days * 86_400
    steps = tuple(envelope(at, milli, start, END, parts(width), silent))
    fridge = Fridge(name, 2000, 8000, logger_minutes=10)
    last = (END, 4000) if values else None
    one = FridgeChart(fridge, limits, steps, checks, tuple(silent), (), last, False)
    return Chart(END, start, days, "Saltgrass", Opening(ZONE, Site("", ((),) * 7)), (one,))


def week(**spikes: int) -> dict[int, int]:
    return dict.fromkeys(range(0, 7 * 1440 + 1, 10), 4000) | {int(k[1:]): v for k, v in spikes.items()}


def plot(text: str) -> list[str]:
    """The rows of the plot, without their scale."""
    rows = [line for line in text.splitlines() if len(line) >= GUTTER - 1 and line[GUTTER - 1] in "│┤|+"]
    return [row[GUTTER:].ljust(0) for row in rows[:HEIGHT]]


@pytest.mark.parametrize("marks", [FINE, PLAIN])
@pytest.mark.parametrize("width", [60, 80, 120, 200])
def test_no_line_is_wider_than_the_screen(marks: Marks, width: int) -> None:
    check = HandCheck(1, 1, "Cold one", END - 3600, 4100, 2500, 9000, by="AB")
    inside = (*OWN, Limit(True, 6000, ("KIT", "PASTE", "GEL", "FOAM")))
    text = chart_text(chart(week(m500=12_000), width=width, checks=(check,), limits=inside), width, marks)
    assert max(map(len, text.splitlines())) <= width


@pytest.mark.parametrize("marks", [FINE, PLAIN])
def test_a_spike_of_ten_minutes_is_seen_in_a_week(marks: Marks) -> None:
    # derived: one reading of 12 °C among 4 °C; the scale ends at 12.5, so that it stands in the first rows
    text = chart_text(chart(week(m5000=12_000)), 80, marks)
    top = [row for row in plot(text)[:4] if row.strip()]
    assert top and all(len(row.replace(" ", "")) <= 2 for row in top)


def test_limits_are_named_on_the_scale_and_in_the_legend() -> None:
    text = chart_text(chart(week(), limits=(*OWN, Limit(True, 6000, ("KIT",)))), 80, FINE)
    for words in (
        "high 8.0 ┤──",
        " low 2.0 ┤──",
        "keep 6.0 ┤─ ─",
        "limit of the fridge, 2.0 to 8.0 °C",
        "limit of KIT inside",
    ):
        assert words in text, words


def test_limits_too_close_for_a_row_each_are_named_on_one() -> None:
    text = chart_text(chart(week(), limits=(*OWN, Limit(True, 7950, ("KIT",)))), 80, FINE)
    assert "8.0/7.95 ┤" in text


def test_a_silence_is_shaded_and_never_crossed() -> None:
    # derived: silent from 5 to 3 days before the end: 2 of 7 days are 2/7 of 68 columns, 19 or 20
    values = {m: v for m, v in week().items() if not 3 * 1440 < m < 5 * 1440}
    text = chart_text(chart(values), 80, FINE)
    line = next(row for row in text.splitlines() if "silent " in row[:GUTTER])
    assert 19 <= line.count("░") <= 21
    for row in plot(text):
        inside = row[line.index("░") - GUTTER + 1 : line.rindex("░") - GUTTER]
        assert set(inside) <= {"░", "─"}


def test_a_silence_that_lasts_reaches_the_right_edge() -> None:
    values = {m: v for m, v in week().items() if m > 1440}
    text = chart_text(chart(values, more=(Gap(END - 1450 * 60, None),)), 80, PLAIN)
    line = next(row for row in text.splitlines() if "silent " in row[:GUTTER])
    assert line.endswith("/") and len(line) == 79


def test_checks_without_a_logger_have_their_bars() -> None:
    check = HandCheck(1, 1, "Cold one", END - 86_400, 4000, 3000, 7000, by="AB")
    text = chart_text(chart({}, checks=(check,)), 80, FINE)
    column = next(row.index("◆") for row in plot(text) if "◆" in row)
    assert sum(row[column : column + 1] == "╎" for row in plot(text)) >= 6  # 4 °C of about 0.4 °C a row
    assert "logger" not in text


def test_readings_far_apart_are_joined_without_a_silence() -> None:
    # derived: a reading every 50 minutes over a day: 68 columns of 21 minutes, all of them filled at 4 °C
    text = chart_text(chart(dict.fromkeys(range(0, 1441, 50), 4000), days=1), 80, PLAIN)
    assert max(row.count("#") for row in plot(text)) >= 65


def test_negative_temperatures_have_their_scale() -> None:
    text = chart_text(chart(week(m3000=-3000)), 80, FINE)
    assert "-2.0 ┤" in text


def test_plain_marks_are_ascii_only() -> None:
    check = HandCheck(1, 1, "Cold one", END - 3600, 4100, 2500, 9000, by="AB")
    values = {m: v for m, v in week().items() if not 3 * 1440 < m < 5 * 1440}
    assert chart_text(chart(values, checks=(check,)), 80, PLAIN).isascii()


@pytest.mark.parametrize(
    ("encoding", "marks"),
    [(None, FINE), ("utf-8", FINE), ("ascii", PLAIN), ("cp1252", PLAIN), ("cp437", PLAIN), ("latin-1", PLAIN), ("no such", PLAIN)],
)  # fmt: skip
def test_marks_that_the_screen_cannot_show_are_not_used(encoding: str | None, marks: Marks) -> None:
    assert marks_for(encoding) is marks


def test_a_name_with_control_characters_commands_no_terminal() -> None:
    text = chart_text(chart(week(), name="\x1b[31mred [/x]"), 80, FINE)
    assert "\x1b" not in text and "[31mred [/x]" in text


def test_without_anything_it_says_what_to_type() -> None:
    text = chart_text(chart({}), 80, FINE)
    assert "no reading and no check on record" in text
    assert '-> stockroom fridge log CELSIUS --min X --max Y --fridge "Cold one"' in text
