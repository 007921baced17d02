"""The record of forecasts -> the JSON document of ``reorder accuracy``."""

from typing import Any

from stockroom.pages.values import instant
from stockroom.tasks.accuracy import AccuracyReport, Candidate, ProcedureRecord


def accuracy_answer(report: AccuracyReport) -> dict[str, Any]:
    """``reorder accuracy``."""
    return {
        "as_of": instant(report.as_of),
        "weeks": report.weeks,
        "scale": "last week's number for every week ahead",
        "forecasts": [_record(r) for r in report.records],
    }


def _record(r: ProcedureRecord) -> dict[str, Any]:
    return {
        "site": r.site or None,
        "procedure": r.procedure,
        "products": list(r.products),
        "weeks_ahead": r.ahead,
        "target": r.target,
        "replayed_weeks": r.weeks,
        "used": r.forecast,
        "why": r.why,
        "candidates": [_candidate(c, r) for c in r.candidates],
    }


def _candidate(c: Candidate, r: ProcedureRecord) -> dict[str, Any]:
    return {
        "forecast": c.forecast,
        "used": c.forecast == r.forecast,
        "mase": None if c.mase is None else round(c.mase, 6),
        "mae": round(c.mae, 6),
        "rmse": round(c.rmse, 6),
        "bias": round(c.bias, 6),
        "coverage": round(c.covered / r.weeks, 6),
        "covered_weeks": c.covered,
    }
