"""The path of a product's stock as lines of text: filled for what is there even in the bad case, a line for what is expected.

Every column shows the least of its time, so that a short day is never lost. Nothing hangs on colour.
"""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor

from stockroom.core.envelope import step_of
from stockroom.pages.terminal_chart import marks_for
from stockroom.pages.time_axis import ticks
from stockroom.tasks.outlook import Outlook

GUTTER = 8
"""Columns left of the plot: the scale, and the names of the rows under it."""
LEAST, MOST = 3, 12
"""Rows of the plot at most, by the room that there is."""
FEWEST = 0.05
"""Pieces expected to expire that are worth a mark."""


@dataclass(frozen=True, slots=True)
class Pens:
    """What the path is drawn with."""

    there: str
    short: str
    expected: str
    until: str
    axis: str
    tick: str
    corner: str
    line: str
    day: str


FINE = Pens("▒", "×", "━", "┊", "│", "┤", "└", "─", "┴")
PLAIN = Pens("#", "x", "=", ":", "|", "+", "+", "-", "+")


def stock_text(o: Outlook, width: int, rows: int, encoding: str | None) -> str:
    """The chart for a screen of ``width`` columns, its plot up to ``rows`` high; plain ASCII where an encoding wants it."""
    pens = FINE if marks_for(encoding).fine else PLAIN
    plot = _Plot(o, max(20, width - GUTTER - 1), max(LEAST, min(MOST, rows)), pens)
    lines = [*plot.lines(), *plot.events(), *_legend(plot, width)]
    return "\n".join(line.rstrip() for line in lines)


class _Plot:
    """The cells of the plot, from the largest number of pieces down."""

    def __init__(self, o: Outlook, columns: int, rows: int, pens: Pens) -> None:
        self.o, self.path, self.columns, self.pens = o, o.path, columns, pens
        expected, bad = self._columns_of(self.path.expected), self._columns_of(self.path.bad)
        self.step, self.bottom, self.rows = _scale(min(*expected, *bad, 0.0), max(*expected, *bad, 1.0), rows)
        self.cells = [[" "] * columns for _ in range(self.rows)]
        x = self.column(self.path.covers_until)
        for row in self.cells:
            row[x] = pens.until
        for x in range(columns):
            self._fill(x, bad[x])
        for x in range(columns):
            self._line(x, expected[max(0, x - 1)], expected[x])

    def column(self, at: int) -> int:
        """The column of an instant."""
        return step_of(at, self.path.start, self.path.end, self.columns)

    def _columns_of(self, values: Sequence[float]) -> list[float]:
        """The least of each column's time; of one in which nothing changes what was there before."""
        least: dict[int, float] = {}
        for at, value in zip(self.path.at, values, strict=True):
            x = self.column(at)
            least[x] = min(least.get(x, value), value)
        found: list[float] = []
        for x in range(self.columns):
            end = self.path.start + (x + 1) * (self.path.end - self.path.start) // self.columns
            before = values[max(0, bisect_right(self.path.at, end - 1) - 1)]
            found.append(min(least.get(x, before), before) if x in least else before)
        return found

    def _row(self, value: float) -> int | None:
        """The row in which a number of pieces lies, from the top; None for none at all, which is the axis itself."""
        level = ceil((value - self.bottom) / self.step - 1e-9) - 1
        if value <= 0 and level < (0 - self.bottom) // self.step:
            level = floor((value - self.bottom) / self.step + 1e-9)
        if level < 0 or (value == 0 and self.bottom == 0):
            return None
        return self.rows - 1 - min(level, self.rows - 1)

    def _fill(self, x: int, value: float) -> None:
        for level in range(self.rows):
            low = self.bottom + level * self.step
            inside = low < value - 1e-9 if low >= 0 else low + self.step > value + 1e-9
            if inside:
                self.cells[self.rows - 1 - level][x] = self.pens.there if low >= 0 else self.pens.short

    def _line(self, x: int, before: float, value: float) -> None:
        row, old = self._row(value), self._row(before)
        if row is None:
            return
        old = self.rows if old is None else old
        step = 1 if old > row else -1
        for y in range(row, old, step) if abs(old - row) > 1 else (row,):
            if self.cells[y][x] != self.pens.short:  # what is short in the bad case must not be hidden
                self.cells[y][x] = self.pens.expected

    def lines(self) -> list[str]:
        """The plot with its scale, and the axis of time under it."""
        out = []
        every = 1 if self.rows <= 6 else 2
        for y, row in enumerate(self.cells):
            level = self.rows - y
            label = f"{self.bottom + level * self.step:g}" if level % every == 0 else ""
            out.append(f"{label:>{GUTTER - 2}} {self.pens.tick if label else self.pens.axis}{''.join(row)}")
        line, words = [self.pens.line] * self.columns, ""
        for tick in ticks(self.o.opening, self.path.start, self.path.end, self.columns // 7):
            x = self.column(tick.at)
            line[x] = self.pens.day
            place = GUTTER + x - len(tick.label) // 2
            if place >= len(words) + (1 if words else 0) and place + len(tick.label) <= GUTTER + self.columns + 1:
                words = words.ljust(place) + tick.label
        corner = f"{self.bottom:g}".rjust(GUTTER - 2) + " " + self.pens.corner
        return [*out, corner + "".join(line), words]

    def events(self) -> list[str]:
        """What comes and what expires unused, under the days on which it does; in a second row where one is too narrow."""
        comes: dict[int, float] = {}
        goes: dict[int, float] = {}
        for a in self.path.arrivals:
            comes[self.column(a.at)] = comes.get(self.column(a.at), 0) + a.pieces
        for at, n in self.path.expiries:
            goes[self.column(at)] = goes.get(self.column(at), 0) + n
        happens = [(x, f"+{n:g}") for x, n in comes.items()]
        happens += [(x, f"-{n:.2g}") for x, n in goes.items() if n >= FEWEST]
        rows: list[str] = []
        for at, text in sorted(happens):
            x = min(at, self.columns - len(text))
            row = next((i for i, r in enumerate(rows) if len(r) + (1 if r else 0) <= x), len(rows))
            if row == len(rows):
                rows.append("")
            rows[row] = rows[row].ljust(x) + text
        return [" " * GUTTER + row for row in rows]


def _scale(low: float, high: float, most: int) -> tuple[int, int, int]:
    """(pieces to a row, pieces at the foot, rows): whole numbers, round where they are many, zero between two rows."""
    step = 1
    while (rows := ceil(high / step) + ceil(-low / step)) > most:
        step += 1 if step < 10 else 10 ** (len(str(step)) - 1)
    return step, -step * ceil(-low / step), rows


def _legend(plot: _Plot, width: int) -> list[str]:
    """What each mark means, those that stand in the chart; several to a line where they fit."""
    path, pens = plot.path, plot.pens
    drawn = {c for row in plot.cells for c in row}
    told = [
        (pens.there in drawn, f"{pens.there} in the bad case"),
        (pens.short in drawn, f"{pens.short} short in it"),
        (True, f"{pens.expected} expected"),
        (bool(path.arrivals), "+n comes"),
        (any(n >= FEWEST for _, n in path.expiries), "-n expires"),
        (True, f"{pens.until} must last to here"),
    ]
    lines, line = [], ""
    for there, text in told:
        if there:
            if line and len(line) + 2 + len(text) > width:
                lines.append(line)
                line = ""
            line += "  " + text
    return [*lines, line]
