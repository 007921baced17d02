"""A chart of a fridge as lines of text: braille dots where the terminal has them, plain letters where it has not.

Every column shows the lowest to the highest reading of its time, so that a short spike is never lost. Nothing hangs on
colour. Each cell of the plot holds one thing; in order of rank: a check by hand, readings, a check's min to max,
a limit, a silence.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import ceil, floor

from stockroom.core.envelope import Step, step_of
from stockroom.core.units import degrees, few, quoted
from stockroom.core.when import day_text, local_text
from stockroom.pages.time_axis import ticks
from stockroom.pages.values import shown
from stockroom.tasks.chart import Chart, FridgeChart

GUTTER = 11
"""Columns left of the plot: the scale and the names of the limits."""
HEIGHT = 18
EXCURSION_ROWS = 4


@dataclass(frozen=True, slots=True)
class Marks:
    """What the chart is drawn with."""

    fine: bool
    check: str
    span: str
    limit: str
    gap: str
    excursion: str
    axis: str
    tick: str
    corner: str
    day: str


FINE = Marks(True, "◆", "╎", "─", "░", "━", "│", "┤", "└", "┴")
PLAIN = Marks(False, "o", ":", "-", "/", "=", "|", "+", "+", "+")
DOTS = ((0x01, 0x02, 0x04, 0x40), (0x08, 0x10, 0x20, 0x80))
"""Braille dots (Unicode 2800) of the left and the right half of a cell, from the top down."""


def marks_for(encoding: str | None) -> Marks:
    """Fine marks where an encoding has all of them, else plain ASCII."""
    wanted = "".join(str(m) for m in (FINE.check, FINE.span, FINE.gap, FINE.excursion, FINE.corner, "⣿", "°", "–"))
    try:
        wanted.encode(encoding or "utf-8")
    except (UnicodeEncodeError, LookupError):
        return PLAIN
    return FINE


def parts(width: int) -> int:
    """Into how many steps the readings go for a screen of ``width`` columns."""
    return 2 * _columns(width)


def _columns(width: int) -> int:
    return max(20, width - GUTTER - 1)


def chart_text(chart: Chart, width: int, marks: Marks) -> str:
    """Every fridge of a chart under the other."""
    drawn = [_fridge(chart, f, width, marks) for f in chart.fridges]
    text = "\n\n".join("\n".join(line.rstrip() for line in lines) for lines in drawn)
    return text if marks.fine else _ascii(text)


def _ascii(text: str) -> str:
    return text.replace("°C", "C").replace("–", "-").replace("…", "...")


def _fridge(chart: Chart, f: FridgeChart, width: int, marks: Marks) -> list[str]:
    days = "1 day" if chart.days == 1 else f"{chart.days} days"
    head = [
        shown(f"{f.fridge.name}, {days} to {local_text(chart.as_of, chart.zone)} ({chart.opening.zone_name})")
        + (", out of use" if f.off else "")
    ]
    if f.empty:
        return head + _nothing(chart, f)
    plot = _Plot(chart, f, _columns(width), marks)
    return [*head, *plot.lines(), *plot.strips(), *_legend(plot, width)]


def _nothing(chart: Chart, f: FridgeChart) -> list[str]:
    name = shown(f.fridge.name)
    if f.last is not None:
        away = -(-(chart.as_of - f.last[0]) // 86_400)
        told = f"  no reading and no check in this time; the last one is of {local_text(f.last[0], chart.zone)}"
        return [told, f"  -> stockroom fridge chart --fridge {quoted(name)} --days {away}"]
    return [
        "  no reading and no check on record",
        f"  -> stockroom fridge import FILE.csv --fridge {quoted(name)}",
        f"  -> stockroom fridge log CELSIUS --min X --max Y --fridge {quoted(name)}",
    ]


class _Plot:
    """The cells of one fridge's plot, from the highest temperature down."""

    def __init__(self, chart: Chart, f: FridgeChart, columns: int, marks: Marks) -> None:
        self.chart, self.f, self.columns, self.marks = chart, f, columns, marks
        self.bottom, self.top = _range(f)
        self.cells = [[" "] * columns for _ in range(HEIGHT)]
        self._gaps()
        self._limits()
        self._spans()
        self._readings()
        for check in f.checks:
            self.cells[self.row(check.milli)][self.column(check.at)] = marks.check

    def column(self, at: int) -> int:
        """The column of an instant."""
        return step_of(at, self.chart.start, self.chart.as_of, self.columns)

    def row(self, milli: int, fine: int = 1) -> int:
        """The row of a temperature, with ``fine`` rows to a cell."""
        rows = HEIGHT * fine
        return max(0, min(rows - 1, (self.top - milli) * rows // (self.top - self.bottom)))

    def covered(self, start: int, end: int | None) -> tuple[int, int]:
        """The first and last column of a span of time, cut to the window."""
        return self.column(max(start, self.chart.start)), self.column(self.chart.as_of if end is None else end)

    def _gaps(self) -> None:
        for gap in self.f.gaps:
            first, last = self.covered(gap.start, gap.end)
            for row in self.cells:
                row[first : last + 1] = [self.marks.gap] * (last + 1 - first)

    def _limits(self) -> None:
        for limit in self.f.limits:
            cells = self.cells[self.row(limit.milli)]
            for x in range(0, self.columns, 2 if limit.products else 1):
                cells[x] = self.marks.limit

    def _spans(self) -> None:
        for check in self.f.checks:
            shown_high = check.milli if check.high is None else check.high
            shown_low = check.milli if check.low is None else check.low
            for y in range(self.row(shown_high), self.row(shown_low) + 1):
                self.cells[y][self.column(check.at)] = self.marks.span

    def _readings(self) -> None:
        across, down = (2, 4) if self.marks.fine else (1, 1)
        dots: dict[tuple[int, int], int] = {}
        for x, high, low in self._bars(across):
            for y in range(self.row(high, down), self.row(low, down) + 1):
                at = (y // down, x // across)
                dots[at] = dots.get(at, 0) | DOTS[x % across][y % down]
        for (y, x), bits in dots.items():
            self.cells[y][x] = chr(0x2800 + bits) if self.marks.fine else "#"

    def _bars(self, across: int) -> list[tuple[int, int, int]]:
        """(fine column, highest, lowest) of every column that readings or the straight line between them reach."""
        columns = self.columns * across
        found: list[tuple[int, int, int]] = []
        before: tuple[int, Step] | None = None
        for step in self.f.steps:
            x = step_of(step.start, self.chart.start, self.chart.as_of, columns)
            high, low = step.high, step.low
            if before is not None and step.joined:
                found += _between(before, (x, step))
                if x - before[0] == 1:  # the line from the step before ends here; a steep one would fall apart
                    high, low = max(high, before[1].low), min(low, before[1].high)
            found.append((x, high, low))
            before = (x, step)
        return found

    def lines(self) -> list[str]:
        """The plot with its scale, and the axis of time under it."""
        names: dict[int, list[str]] = {}
        for limit in self.f.limits:
            side = ("keep" if limit.products else "high" if limit.high else "low", degrees(limit.milli)[:-3])
            names.setdefault(self.row(limit.milli), []).append(" ".join(side))
        scale = {self.row(milli): degrees(milli)[:-3] for milli in _scale(self.bottom, self.top)}
        out = []
        for y, row in enumerate(self.cells):
            said = names.get(y)
            if said and len(said) > 1:  # too close for a row each
                said = ["/".join(word.split()[-1] for word in said)]
            label = said[0] if said else scale.get(y, "")
            edge = self.marks.tick if label else self.marks.axis
            out.append(f"{label:>{GUTTER - 2}} {edge}{''.join(row)}")
        return [*out, *self._axis()]

    def _axis(self) -> list[str]:
        line, words = [self.marks.limit] * self.columns, ""
        for tick in ticks(self.chart.opening, self.chart.start, self.chart.as_of, self.columns // 8):
            x = self.column(tick.at)
            line[x] = self.marks.day
            place = GUTTER + x - len(tick.label) // 2
            if place >= len(words) + (1 if words else 0) and place + len(tick.label) <= GUTTER + self.columns + 1:
                words = words.ljust(place) + tick.label
        corner = " " * (GUTTER - 1) + self.marks.corner
        return [corner + "".join(line), words]

    def strips(self) -> list[str]:
        """Under the axis: where nobody knows how cold it was, and the excursions with their numbers."""
        out = []
        if self.f.gaps:
            cells = [" "] * self.columns
            for gap in self.f.gaps:
                first, last = self.covered(gap.start, gap.end)
                cells[first : last + 1] = [self.marks.gap] * (last + 1 - first)
            out.append(f"{'silent':>{GUTTER - 1}} {''.join(cells)}")
        rows, left = self._excursions()
        out += [f"{'' if i else 'excursion':>{GUTTER - 1}} {row}" for i, row in enumerate(rows)]
        if left:
            out.append(" " * GUTTER + f"not drawn for want of room: {few(left, 8)}")
        return out

    def _excursions(self) -> tuple[list[str], list[str]]:
        rows: list[str] = []
        left: list[str] = []
        for e in self.f.excursions:
            name = f"E-{e.number}"
            if e.event is None:
                left.append(name)
                continue
            first, last = self.covered(e.event.start, e.event.end)
            mark = self.marks.excursion * (last + 1 - first) + name
            if len(mark) > self.columns - first:  # at the right edge the number stands before
                first = max(0, first - len(name))
                mark = (name + self.marks.excursion * (last + 1))[: self.columns - first]
            row = next((i for i, r in enumerate(rows) if len(r) + (1 if r else 0) <= first), len(rows))
            if row == EXCURSION_ROWS:
                left.append(name)
            elif row == len(rows):
                rows.append(" " * first + mark)
            else:
                rows[row] = rows[row].ljust(first) + mark
        return rows, left


def _between(one: tuple[int, Step], other: tuple[int, Step]) -> list[tuple[int, int, int]]:
    """The fine columns between two steps without a silence between them, filled along the straight lines."""
    (a, before), (b, after) = one, other
    return [
        (
            x,
            before.high + (after.high - before.high) * (x - a) // (b - a),
            before.low + (after.low - before.low) * (x - a) // (b - a),
        )
        for x in range(a + 1, b)
    ]


def _range(f: FridgeChart) -> tuple[int, int]:
    """(bottom, top) of the scale in thousandths: all that is drawn, and half a degree around it."""
    seen = [limit.milli for limit in f.limits]
    for step in f.steps:
        seen += [step.low, step.high]
    for check in f.checks:
        seen += [v for v in (check.milli, check.low, check.high) if v is not None]
    return floor((min(seen) - 500) / 500) * 500, ceil((max(seen) + 500) / 500) * 500


def _scale(bottom: int, top: int) -> list[int]:
    """Round temperatures for the scale, about one for every other row."""
    step = next((s for s in (500, 1000, 2000, 5000, 10_000) if (top - bottom) / s <= HEIGHT / 2), 20_000)
    return list(range(ceil(bottom / step) * step, top + 1, step))


def _legend(plot: _Plot, width: int) -> list[str]:
    """What each mark means, those that stand in the chart; several to a line where they fit."""
    f, marks, lines = plot.f, plot.marks, []
    told: list[tuple[bool, str]] = [
        (bool(f.steps), f"{'⣿' if marks.fine else '#'} logger, lowest to highest"),
        (bool(f.checks), f"{marks.check} check by hand"),
        (any(c.low is not None or c.high is not None for c in f.checks), f"{marks.span} its min to max"),
        (bool(f.gaps), f"{marks.gap} silent: nobody knows how cold it was"),
        (True, f"{marks.limit * 3} limit of the fridge, {_both(f, lambda x: not x.products)}"),
        *((True, f"{marks.limit} {marks.limit} {_kept(limit.products)}") for limit in f.limits if limit.products),
        (bool(f.excursions), f"{marks.excursion}E-n excursion"),
    ]
    line = ""
    for there, text in told:
        if not there:
            continue
        if line and len(line) + 3 + len(text) > width:
            lines.append(line)
            line = ""
        line += ("   " if line else "  ") + text
    return [*lines, line]


def _both(f: FridgeChart, wanted: Callable[..., bool]) -> str:
    low, high = sorted(limit.milli for limit in f.limits if wanted(limit))
    return f"{degrees(low)[:-3]} to {degrees(high)}"


def _kept(products: Sequence[str]) -> str:
    return f"limit of {shown(few(list(products), 3))} inside"


def window_text(chart: Chart) -> str:
    """``Tue 7 Apr 2026 to Tue 14 Apr 2026``: the days of a chart."""
    return f"{day_text(chart.opening.day(chart.start))} to {day_text(chart.opening.day(chart.as_of))}"
