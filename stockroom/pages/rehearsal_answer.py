"""A rehearsal -> the JSON document of ``reorder rehearse``."""

from typing import Any

from stockroom.core.bands import Band
from stockroom.pages.values import instant
from stockroom.tasks.rehearse import NOT_PLAYED, Figures, Outcome, Rehearsal, SiteRehearsal


def rehearsal_answer(found: Rehearsal) -> dict[str, Any]:
    """``reorder rehearse``: for each site a row of targets, each with what it comes to."""
    return {
        "as_of": instant(found.as_of),
        "product": found.product.code,
        "name": found.product.name,
        "weeks": found.weeks,
        "runs": found.runs,
        "seed": found.seed,
        "target_kind": found.target_kind,
        "currency": found.currency,
        "not_played": list(NOT_PLAYED),
        "sites": [_site(s, found) for s in found.sites],
    }


def _site(s: SiteRehearsal, found: Rehearsal) -> dict[str, Any]:
    return {
        "site": s.site or None,
        "supplier": s.supplier.name,
        "target": s.target,
        "demand": {
            "source": "practice file" if s.weeks_of_history is None else "past weeks",
            "weeks": s.weeks_of_history,
            "block_weeks": None if s.weeks_of_history is None else s.block,
            "per_week": round(s.per_week, 4),
        },
        "lead_orders": None if s.record is None else s.record.orders,
        "orders": s.orders,
        "stock": s.stock,
        "on_order": s.coming,
        "held": s.held,
        "room": s.room,
        "correction": s.correction,
        "targets": [_outcome(o, found) for o in s.outcomes],
    }


def _outcome(o: Outcome, found: Rehearsal) -> dict[str, Any]:
    return {
        "target": o.target,
        "first_order": o.first,
        "unbooked_quantile": round(o.unbooked, 3),
        **_figures(o.figures, found),
        "uncorrected": None if o.uncorrected is None else _figures(o.uncorrected, found),
        "waste_saved": _band(o.saved),
    }


def _figures(f: Figures, found: Rehearsal) -> dict[str, Any]:
    price, space = found.piece_price, found.product.space
    money = None if price is None else float(price)
    return {
        "shortage_chance": _band(f.shortage),
        "short_pieces": _band(f.short),
        "fill_rate": _band(f.fill),
        "waste_pieces": _band(f.wasted),
        "waste_cost": None if money is None else _band(f.wasted.scaled(money), 2),
        "ordered_pieces": _band(f.ordered),
        "stock_pieces": _band(f.stock),
        "stock_value": None if money is None else _band(f.stock.scaled(money), 2),
        "fridge_peak": _band(f.peak.scaled(space)) if found.product.cold else None,
    }


def _band(band: Band | None, digits: int = 6) -> dict[str, float] | None:
    if band is None:
        return None
    names = ("mean", "low", "high", "run_low", "run_high")
    return {name: round(getattr(band, name), digits) for name in names}
