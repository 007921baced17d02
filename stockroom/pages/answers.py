"""A report -> the JSON document of its command. Instants in UTC, °C with at most 3 decimals, absent = null."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from stockroom.core.units import celsius
from stockroom.pages.values import instant

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from stockroom.core.records import Booking
    from stockroom.core.warmup import Row
    from stockroom.tasks.broken_plan import Broken
    from stockroom.tasks.excursions_now import ExcursionNow
    from stockroom.tasks.fridge_now import FridgeNow, FridgeReport
    from stockroom.tasks.in_vain import InVain
    from stockroom.tasks.trace import BookingTrace, ExcursionTrace, LotTrace
    from stockroom.tasks.warm_plan import WarmPlan


def excursion_answer(e: ExcursionNow) -> dict[str, Any]:
    """One excursion. Without an event no reading supports it any more: only its hold is left."""
    v = e.event
    return {
        "id": f"E-{e.number}",
        "fridge": e.fridge,
        "start": instant(v.start if v else e.anchor_at),
        "end": instant(v.end if v else None),
        "minutes": v.minutes if v else None,
        "minutes_at_most": v.minutes_at_most if v else None,
        "direction": e.direction,
        "extreme_celsius": celsius(v.extreme if v else None),
        "limit_celsius": celsius(e.limit),
        "degree_minutes": v.degree_minutes if v else None,
        "mkt_celsius": v.mkt_celsius if v else None,
        "source": e.source,
        "within_allowance": e.within,
        "state": "decided" if e.decided else "open",
        "linked": [f"E-{n}" for n in sorted({*e.linked, *e.others})],
        "lots": [{"product": p, "lot": x, "quantity": q} for p, x, q in e.lots],
        "held": e.held,
        "reopened": e.reopened,
        "supported": v is not None and not e.elsewhere,
        "held_elsewhere": e.elsewhere,
        "decision": None
        if e.decision is None
        else {
            "verdict": e.decision.verdict,
            "by": e.decision.by,
            "at": instant(e.decision.at),
            "why": e.decision.why,
            "answer": e.decision.answer,
        },
    }


def excursion_trace_answer(t: ExcursionTrace) -> dict[str, Any]:
    """An excursion, and what became of every piece that it touched."""
    pieces = [
        {
            "product": p.product,
            "lot": p.lot,
            "quantity": p.quantity,
            "place": p.place,
            "held": p.held,
            "booking": None if p.booking is None else f"B-{p.booking}",
            "external_id": p.external_id,
            "at": instant(p.at),
        }
        for p in t.pieces
    ]
    return {"as_of": instant(t.as_of), **excursion_answer(t.excursion), "pieces": pieces}


def fridge_answer(f: FridgeNow, plan: Sequence[str]) -> dict[str, Any]:
    """One fridge of ``fridge check``, with what to do about it, in order."""
    return {
        "fridge": f.fridge.name,
        "low": celsius(f.fridge.low),
        "high": celsius(f.fridge.high),
        "last": None if f.last is None else {"at": instant(f.last[0]), "celsius": celsius(f.last[1])},
        "missed_checks": [{"day": d.isoformat(), "check": c} for d, c in f.missed],
        "gaps": [
            {
                "start": instant(g.start),
                "end": instant(g.end),
                "minutes": None if g.end is None else round((g.end - g.start) / 60, 2),
            }
            for g in f.gaps
        ],
        "excursions": [excursion_answer(e) for e in f.excursions],
        "drift": None
        if f.drift is None
        else {
            "direction": f.drift.direction,
            "since": f.drift.since.isoformat(),
            "ewma": round(f.drift.ewma, 3),
            "limit": round(f.drift.limit, 3),
        },
        "calibration": {
            "due": None if f.fridge.calibration_due is None else f.fridge.calibration_due.isoformat(),
            "overdue": f.calibration_overdue,
        },
        "pieces": f.pieces,
        "off": f.off,
        "plan": list(plan),
    }


def check_answer(report: FridgeReport, plans: Mapping[str, Sequence[str]]) -> dict[str, Any]:
    """``fridge check``; ``plans``: fridge -> the lines of what to do."""
    return {
        "as_of": instant(report.as_of),
        "attention": report.attention,
        "fridges": [fridge_answer(f, plans.get(f.fridge.name, ())) for f in report.fridges],
    }


def booking_answer(b: Booking) -> dict[str, Any]:
    """One booking."""
    return {
        "booking": f"B-{b.number}",
        "external_id": b.external_id,
        "procedure": b.procedure,
        "start": instant(b.start),
        "end": instant(b.end),
        "patient": b.patient,
        "cycles": b.cycles,
        "state": b.state,
    }


def row_answer(r: Row) -> dict[str, Any]:
    """One row of the warm-up plan: one kit for one booking."""
    return {
        "booking": f"B-{r.booking}",
        "start": instant(r.start),
        "procedure": r.procedure,
        "product": r.product,
        "quantity": r.quantity,
        "state": r.state,
        "take_out_from": instant(r.take_out_from),
        "take_out_by": instant(r.take_out_by),
        "take_out_staffed_by": instant(r.take_out_staffed_by),
        "lot": r.lot,
        "place": r.place,
        "pull": None if r.pull is None else f"P-{r.pull}",
        "pulled_at": instant(r.pulled_at),
        "ready_at": instant(r.ready_at),
        "use_by": instant(r.use_by),
        "earliest_start": instant(r.earliest_start),
        "why": r.why,
        "todo": r.todo,
        "todos": r.todos,
    }


def plan_answer(plan: WarmPlan, broken: Sequence[Broken], vain: Sequence[InVain]) -> dict[str, Any]:
    """``warmup check``."""
    return {
        "as_of": instant(plan.as_of),
        "attention": plan.attention,
        "bookings": [row_answer(r) for r in plan.rows],
        "broken": [
            {
                "booking": f"B-{b.booking}",
                "state": b.state,
                "since": instant(b.since),
                "entry": None if b.entry is None else f"R-{b.entry}",
                "what": b.what,
            }
            for b in broken
        ],
        "unused": [
            {
                "pull": f"P-{v.unused.kit.pull}",
                "product": v.unused.kit.product,
                "lot": v.unused.kit.lot_code,
                "use_by": instant(v.unused.use_by),
                "over": v.unused.over,
                "moves": [{"booking": f"B-{n}", "start": instant(at)} for n, at in v.unused.moves or ()],
                "what": v.what,
                "todos": list(v.steps),
            }
            for v in vain
        ],
    }


def lot_trace_answer(t: LotTrace) -> dict[str, Any]:
    """``trace lot``."""
    x = t.exposure
    return {
        "as_of": instant(t.as_of),
        "product": t.lot.product,
        "lot": t.lot.code,
        "expiry": None if t.lot.expiry is None else t.lot.expiry.isoformat(),
        "received": t.received,
        "used": t.used,
        "discarded": t.discarded,
        "returned": t.returned,
        "adjusted": t.adjusted,
        "on_hand": t.on_hand,
        "out": t.out,
        "unaccounted": t.unaccounted,
        "difference": t.difference,
        "earlier_exposure_unknown": t.opening,
        "exposure": {
            "minutes_warm": round(x.seconds_warm / 60, 2),
            "minutes_cold": round(x.seconds_cold / 60, 2),
            "minutes_unmonitored": round(x.seconds_unmonitored / 60, 2),
            "min_celsius": celsius(x.min_milli),
            "max_celsius": celsius(x.max_milli),
            "mkt_celsius": None if x.mkt_celsius is None else round(x.mkt_celsius, 3),
        },
        "causes": list(t.causes),
        "stays": [{"place": p, "from": instant(a), "to": instant(b), "quantity": n} for p, a, b, n in t.stays],
        "bookings": [
            {
                "booking": f"B-{r.booking}",
                "external_id": r.external_id,
                "patient": r.patient,
                "at": instant(r.at),
                "quantity": r.quantity,
                "held": r.held,
            }
            for r in t.reached
        ],
    }


def booking_trace_answer(t: BookingTrace) -> dict[str, Any]:
    """``trace booking``."""
    return {
        **booking_answer(t.booking),
        "used": [
            {"product": p, "lot": x, "from": place, "quantity": n, "at": instant(at), "causes": list(causes)}
            for p, x, place, n, at, causes in t.used
        ],
        "breaches": list(t.breaches),
    }
