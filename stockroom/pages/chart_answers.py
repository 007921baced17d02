"""A chart -> its JSON document: the envelope as it is drawn."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from stockroom.core.units import celsius
from stockroom.pages.values import instant

if TYPE_CHECKING:
    from stockroom.tasks.chart import Chart, FridgeChart


def chart_answer(chart: Chart) -> dict[str, Any]:
    """``fridge chart``."""
    return {
        "as_of": instant(chart.as_of),
        "from": instant(chart.start),
        "fridges": [_fridge(f) for f in chart.fridges],
    }


def _fridge(f: FridgeChart) -> dict[str, Any]:
    return {
        "fridge": f.fridge.name,
        "low": celsius(f.fridge.low),
        "high": celsius(f.fridge.high),
        "limits": [
            {"side": "high" if x.high else "low", "celsius": celsius(x.milli), "products": list(x.products)}
            for x in f.limits
        ],
        "points": [
            {
                "from": instant(s.start),
                "to": instant(s.end),
                "min_celsius": celsius(s.low),
                "max_celsius": celsius(s.high),
            }
            for s in f.steps
        ],
        "checks": [
            {
                "at": instant(c.at),
                "celsius": celsius(c.milli),
                "min_celsius": celsius(c.low),
                "max_celsius": celsius(c.high),
                "by": c.by,
                "doubtful": c.doubtful,
            }
            for c in f.checks
        ],
        "gaps": [
            {
                "start": instant(g.start),
                "end": instant(g.end),
                "minutes": None if g.end is None else round((g.end - g.start) / 60, 2),
            }
            for g in f.gaps
        ],
        "excursions": [f"E-{e.number}" for e in f.excursions],
    }
