"""How the record of forecasts looks on the screen."""

from stockroom.cli.show import Screen
from stockroom.core.forecasts import WINDOW, WORDS
from stockroom.core.units import count, few
from stockroom.tasks.accuracy import AccuracyReport, Candidate, ProcedureRecord


def draw_accuracy(screen: Screen, report: AccuracyReport) -> None:
    """A table for each procedure, what is used first said, then what the columns mean."""
    for record in report.records:
        _record(screen, record)
    if not report.records:
        screen.line("No procedure takes anything that is ordered: there is nothing to forecast.")
    elif any(record.candidates for record in report.records):
        screen.note("MASE: error over that of taking last week's number for every week; below 1 is better.")
        screen.note("RMSE: what decides. bias: above 0 is too much. enough: weeks that the order would have covered.")


def _record(screen: Screen, r: ProcedureRecord) -> None:
    where = f"{r.site}, " if r.site else ""
    screen.heading(f"{where}{r.procedure}, {count(r.ahead, 'week')} ahead, for {few(list(r.products), 6)}")
    screen.note(f"used: {r.used}; {r.why}")
    if r.candidates:
        rows = [_row(c, r) for c in r.candidates]
        screen.table(["", "MASE", "RMSE", "bias", f"enough for {100 * r.target:.4g} %"], rows, right=(1, 2, 3))
    screen.line()


def _row(c: Candidate, r: ProcedureRecord) -> list[str]:
    mark = "> " if c.forecast == r.forecast else "  "
    name = mark + WORDS[c.forecast].format(WINDOW).replace(f"over {WINDOW} weeks", "over all weeks")
    mase = "-" if c.mase is None else f"{c.mase:.2f}"
    share = f"{c.covered} of {r.weeks} ({100 * c.covered / r.weeks:.0f} %)"
    return [name, mase, f"{c.rmse:.2f}", f"{c.bias:+.2f}", share]
