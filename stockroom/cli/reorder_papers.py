"""stockroom reorder explain and sheet: what goes to the screen or into a file to look at or to print."""

import shutil
import sys
from typing import TYPE_CHECKING

from stockroom.cli.files import written
from stockroom.cli.job import Answer, Job
from stockroom.core.units import count

if TYPE_CHECKING:
    from stockroom.cli.show import Screen
    from stockroom.tasks.reorder import Planned, SupplierPlan

BESIDE = 6
"""Lines of a chart that are not its plot: axis, days, what happens, legend; and the last of every answer."""


def explain_command(job: Job, product: str, out: str | None) -> Answer:
    """The sum of one product, with its stock drawn under it or into a file."""
    from stockroom.cli.reorder_show import draw_explained
    from stockroom.pages.order_answers import explain_answer
    from stockroom.pages.stock_text import stock_text
    from stockroom.tasks.outlook import outlook
    from stockroom.tasks.reorder import explained

    plan, found = explained(job.store(), job.as_of(), product, job.site)
    with job.store().reading() as conn:
        outlooks = [outlook(conn, plan, s, p) for s, p in found]
    data, zone = explain_answer(plan, found, outlooks), job.zone()
    if out is not None:
        from stockroom.pages.stock_svg import stock_svg

        written(job, out, stock_svg(outlooks))
    size = shutil.get_terminal_size((100, 24))

    def chart(s: "SupplierPlan", p: "Planned", above: int) -> str:
        (one,) = (o for o in outlooks if o.site == s.site)
        encoding = getattr(sys.stdout, "encoding", None)
        return stock_text(one, max(60, size.columns), size.lines - above - BESIDE, encoding)

    def draw(screen: "Screen") -> None:
        draw_explained(screen, plan, found, zone, chart if out is None else None)
        if out is not None:
            screen.line(f"{out}: how the stock of {product} will go")

    return Answer(data, data["attention"] > 0, draw)


def sheet_command(job: Job, named: str, out: str) -> Answer:
    """The sheet of an order, or of what is proposed from a supplier."""
    from stockroom.pages.order_sheet import order_html, order_sheet_answer
    from stockroom.tasks.order_sheet import order_sheets

    as_of, zone = job.as_of(), job.zone()
    sheets = order_sheets(job.store(), as_of, named, job.site)
    if sheets:
        written(job, out, order_html(sheets, zone, as_of))

    def draw(screen: "Screen") -> None:
        if not sheets:
            screen.line("Nothing is proposed from this supplier now: no sheet.")
        for s in sheets:
            what = f"{s.order} to {s.supplier}" if s.order else f"proposed from {s.supplier}"
            site = f", {s.site}" if s.site else ""
            screen.line(f"{out}: {what}{site}, {count(len(s.lines), 'product')}, {s.total:.2f} {s.currency}")
            if s.ended:
                screen.alert(f"{s.order} was {s.state}")

    data = order_sheet_answer(sheets, as_of, out if sheets else None)
    return Answer(data, any(s.ended for s in sheets), draw)
