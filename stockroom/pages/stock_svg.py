"""The path of a product's stock as one SVG picture, a panel for each site: expected, the bad case, what comes and expires.

Text stays text, and the same records give the same bytes. Matplotlib is loaded by ``drawn`` alone.
"""

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

from stockroom.core.when import local_text
from stockroom.pages.stock_text import FEWEST
from stockroom.pages.svg_chart import drawn
from stockroom.pages.time_axis import ticks
from stockroom.pages.values import shown
from stockroom.tasks.outlook import Outlook

if TYPE_CHECKING:
    from matplotlib.axes import Axes

EXPECTED, BAD, SHORT, COMES, GONE, LAST = "#1b1b1b", "#3b6ea5", "#a02020", "#2a7a3b", "#a02020", "#555555"


def stock_svg(outlooks: Sequence[Outlook]) -> str:
    """The picture as SVG text."""
    first = outlooks[0]
    as_of = local_text(first.path.start, first.opening.zone)
    title = shown(f"{first.practice}: {first.product} ({first.name}) from {as_of} ({first.opening.zone_name})")
    return drawn(title, [partial(_panel, o=o) for o in outlooks])


def _panel(axes: "Axes", o: Outlook) -> None:
    from matplotlib.ticker import MaxNLocator

    path = o.path
    axes.set_title(shown(o.site), loc="left", fontsize=10, weight="bold")
    axes.set_xlim(path.start, path.end)
    marks = ticks(o.opening, path.start, path.end, 14)
    axes.set_xticks([t.at for t in marks], [t.label for t in marks])
    axes.set_ylabel("pieces")
    axes.yaxis.set_major_locator(MaxNLocator(integer=True))
    axes.grid(color="#e4e4e4", linewidth=0.6)
    axes.set_axisbelow(True)
    there = [max(0.0, v) for v in path.bad]
    short = [min(0.0, v) for v in path.bad]
    axes.fill_between(path.at, there, step="post", facecolor=BAD, alpha=0.3, linewidth=0, label="there in the bad case")
    if min(path.bad) < 0:
        axes.fill_between(
            path.at, short, step="post", facecolor=SHORT, alpha=0.5, linewidth=0, label="short in the bad case"
        )
    axes.plot(path.at, path.bad, drawstyle="steps-post", color=BAD, linewidth=1, linestyle=(0, (3, 2)))
    axes.plot(path.at, path.expected, drawstyle="steps-post", color=EXPECTED, linewidth=1.6, label="expected")
    axes.axhline(0, color=EXPECTED, linewidth=0.8)
    _events(axes, o)
    until = local_text(path.covers_until, o.opening.zone, path.start)
    axes.axvline(path.covers_until, color=LAST, linewidth=1, linestyle=(0, (1, 2)), label=f"must last to {until}")
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.1), ncols=4, fontsize=8, frameon=False)


def _events(axes: "Axes", o: Outlook) -> None:
    """What comes, over the path; what expires unused, under it."""
    path = o.path
    low, high = axes.get_ylim()
    axes.set_ylim(low - (high - low) * 0.12, high + (high - low) * 0.14)
    for i, a in enumerate(path.arrivals):
        label = None if i else "comes"
        y = _after(path.at, path.expected, a.at)
        axes.plot([a.at], [y], "^", color=COMES, markersize=6, label=label)
        axes.annotate(
            shown(f"+{a.pieces} {a.label}"), (a.at, y), xytext=(0, 6), textcoords="offset points", ha="center",
            va="bottom", fontsize=8, color=COMES,
        )  # fmt: skip
    left = [(at, n) for at, n in path.expiries if n >= FEWEST]
    for i, (at, n) in enumerate(left):
        y = _after(path.at, path.expected, at)
        axes.plot([at], [y], "v", color=GONE, markersize=6, label=None if i else "expires unused")
        axes.annotate(
            f"−{n:.2g}",
            (at, y),
            xytext=(0, -6),
            textcoords="offset points",
            ha="center",
            va="top",
            fontsize=8,
            color=GONE,
        )


def _after(at: Sequence[int], values: Sequence[float], when: int) -> float:
    return next((v for t, v in zip(at, values, strict=True) if t >= when), values[-1])
