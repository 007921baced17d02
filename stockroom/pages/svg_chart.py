"""A chart of fridges as one SVG picture: a panel for each, text as text, the same bytes for the same records.

Readings are drawn as the band from the lowest to the highest of each step, so that a year of readings is a small file
in which no spike is lost. Matplotlib is loaded here and nowhere else, without a display and without its pyplot.
"""

import io
import logging
import warnings
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

from stockroom.core.envelope import Step
from stockroom.core.units import degrees, few
from stockroom.core.when import day_text
from stockroom.pages.time_axis import ticks
from stockroom.pages.values import shown
from stockroom.tasks.chart import Chart, FridgeChart

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDTH, PANEL = 10.6, 3.5
"""Inches: the width is that of A4 lying down with its margins."""
MOST_NAMED = 40
"""Excursions that are named by number in one panel; where there are more, the foot says so."""
STYLE: Any = {
    "svg.fonttype": "none",
    "svg.hashsalt": "stockroom",
    "text.parse_math": False,
    "font.family": ["sans-serif"],
    "font.size": 9,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "path.simplify": True,
}
INK, BAND, LIMIT, KEEP, HAND, SILENT, OUT = "#1b1b1b", "#3b6ea5", "#a02020", "#b06000", "#111111", "#bbbbbb", "#a02020"


def chart_svg(chart: Chart) -> str:
    """The picture as SVG text."""
    return drawn(_title(chart), [partial(_panel, chart=chart, f=f) for f in chart.fridges])


def drawn(title: str, panels: Sequence[Callable[["Axes"], None]]) -> str:
    """A picture of some panels under each other as SVG text; each is drawn by its function."""
    logging.getLogger("matplotlib").setLevel(logging.ERROR)
    import matplotlib as mpl
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    out = io.StringIO()
    # A letter that the measuring font has not is drawn by the viewer's font all the same.
    with mpl.rc_context(STYLE), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        figure = Figure(figsize=(WIDTH, PANEL * len(panels) + 0.4), layout="constrained")
        FigureCanvasSVG(figure)
        figure.suptitle(title, fontsize=11)
        for axes, draw in zip(figure.subplots(len(panels), 1, squeeze=False)[:, 0], panels, strict=True):
            draw(axes)
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": "stockroom", "Title": title})
    return out.getvalue()


def _title(chart: Chart) -> str:
    first, last = (day_text(chart.opening.day(at)) for at in (chart.start, chart.as_of))
    return shown(f"{chart.practice}: {first} to {last}, times in {chart.opening.zone_name}")


def _panel(axes: "Axes", chart: Chart, f: FridgeChart) -> None:
    axes.set_title(shown(f.fridge.name) + (" (out of use)" if f.off else ""), loc="left", fontsize=10, weight="bold")
    axes.set_xlim(chart.start, chart.as_of)
    marks = ticks(chart.opening, chart.start, chart.as_of, 14)
    axes.set_xticks([t.at for t in marks], [t.label for t in marks])
    axes.set_ylabel("°C")
    axes.grid(axis="x", color="#e4e4e4", linewidth=0.6)
    axes.set_axisbelow(True)
    if f.empty:
        axes.text(0.5, 0.5, "no reading and no check in this time", transform=axes.transAxes, ha="center")
    _gaps(axes, chart, f)
    _readings(axes, f.steps)
    _checks(axes, f)
    _limits(axes, f)
    low, high = axes.get_ylim()
    axes.set_ylim(low - 0.3, high + (high - low) * 0.14)
    left = _excursions(axes, chart, f)
    handles, _ = axes.get_legend_handles_labels()
    if handles:
        axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.1), ncols=4, fontsize=8, frameon=False)
    if left:
        axes.text(
            0, 1.0, f"not named for want of room: {few(left, 12)}", transform=axes.transAxes, fontsize=7, va="top"
        )


def _gaps(axes: "Axes", chart: Chart, f: FridgeChart) -> None:
    for i, gap in enumerate(f.gaps):
        end = chart.as_of if gap.end is None else gap.end
        axes.axvspan(
            max(gap.start, chart.start), min(end, chart.as_of), facecolor=SILENT, alpha=0.45, linewidth=0, hatch="///",
            edgecolor="#888888", label=None if i else "silent: nobody knows how cold it was",
        )  # fmt: skip


def _readings(axes: "Axes", steps: Sequence[Step]) -> None:
    for i, run in enumerate(_runs(steps)):
        label = None if i else "logger, lowest to highest"
        at = [(s.start + s.end) // 2 for s in run]
        low, high = [s.low / 1000 for s in run], [s.high / 1000 for s in run]
        axes.fill_between(at, low, high, facecolor=BAND, edgecolor=BAND, linewidth=0.8, label=label)
        if len(at) == 1:
            axes.plot(at, high, ".", color=BAND, markersize=2)


def _runs(steps: Iterable[Step]) -> list[list[Step]]:
    """The steps between one silence and the next."""
    runs: list[list[Step]] = []
    for step in steps:
        if step.joined and runs:
            runs[-1].append(step)
        else:
            runs.append([step])
    return runs


def _checks(axes: "Axes", f: FridgeChart) -> None:
    if not f.checks:
        return
    value = [c.milli / 1000 for c in f.checks]
    below = [max(0.0, v - c.low / 1000) if c.low is not None else 0.0 for v, c in zip(value, f.checks, strict=True)]
    above = [max(0.0, c.high / 1000 - v) if c.high is not None else 0.0 for v, c in zip(value, f.checks, strict=True)]
    axes.errorbar(
        [c.at for c in f.checks], value, yerr=[below, above], fmt="D", color=HAND, markersize=3.2, capsize=2,
        linewidth=0.8, label="check by hand, with its min and max",
    )  # fmt: skip


def _limits(axes: "Axes", f: FridgeChart) -> None:
    for limit in f.limits:
        color, line = (KEEP, (0, (2, 2))) if limit.products else (LIMIT, (0, (6, 2)))
        axes.axhline(limit.milli / 1000, color=color, linewidth=1, linestyle=line)
        side = "high" if limit.high else "low"
        named = f"{side} {degrees(limit.milli)}"
        if limit.products:
            named = shown(f"{few(list(limit.products), 3)} {side} {degrees(limit.milli)}")
        axes.annotate(
            named, (1, limit.milli / 1000), xycoords=("axes fraction", "data"), xytext=(-2, 2 if limit.high else -2),
            textcoords="offset points", ha="right", va="bottom" if limit.high else "top", fontsize=8, color=color,
            bbox={"facecolor": "white", "alpha": 0.75, "linewidth": 0, "pad": 0.6},
        )  # fmt: skip


def _excursions(axes: "Axes", chart: Chart, f: FridgeChart) -> list[str]:
    """Marks each along the top, numbers in two rows by turns; returns those left without a number."""
    top = axes.get_ylim()[1]
    room = (top - axes.get_ylim()[0]) * 0.045
    left: list[str] = []
    for i, e in enumerate(f.excursions):
        if e.event is None or i >= MOST_NAMED:
            left.append(f"E-{e.number}")
            continue
        start = max(e.event.start, chart.start)
        end = chart.as_of if e.event.end is None else min(e.event.end, chart.as_of)
        y = top - room * (0.6 + 1.3 * (i % 2))
        label = None if i else "excursion, by its number"
        axes.plot([start, end], [y, y], color=OUT, linewidth=3, solid_capstyle="butt", label=label)
        axes.plot([start], [y], "|", color=OUT, markersize=6)
        near_end = start > chart.start + (chart.as_of - chart.start) * 0.93
        axes.annotate(
            f"E-{e.number}", (start if near_end else end, y), xytext=(-3 if near_end else 3, 0),
            textcoords="offset points", ha="right" if near_end else "left", va="center", fontsize=7, color=OUT,
        )  # fmt: skip
    return left
