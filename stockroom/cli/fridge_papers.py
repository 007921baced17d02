"""stockroom fridge chart and sheet: what goes to the screen or into a file."""

import shutil
import sys
from typing import TYPE_CHECKING

from stockroom.cli.files import written
from stockroom.cli.job import Answer, Job
from stockroom.core.units import count, few, quoted
from stockroom.tasks.places import fridge_named

if TYPE_CHECKING:
    from stockroom.cli.show import Screen

PICTURE_PARTS = 1200
"""Steps across a picture: finer than print shows at the width of a page."""


def chart_command(job: Job, fridge: str | None, days: int, out: str | None) -> Answer:
    """The temperature with its limits, on the screen or as a picture."""
    from stockroom.pages import terminal_chart
    from stockroom.pages.chart_answers import chart_answer
    from stockroom.tasks.chart import chart

    rule = job.rules()
    name = None if fridge is None else fridge_named(rule.practice, fridge, job.site)
    width = max(60, shutil.get_terminal_size((100, 24)).columns)
    parts = terminal_chart.parts(width) if out is None else PICTURE_PARTS
    with job.store().reading() as conn:
        report = chart(conn, job.as_of(), days, parts, fridge=name, site=job.site)
    data = chart_answer(report)
    if not report.fridges:
        return Answer(data, False, lambda screen: screen.line("The practice file has no fridge here."))
    if out is not None:
        from stockroom.pages.svg_chart import chart_svg

        written(job, out, chart_svg(report))
        drawn = f"{out}: {count(len(report.fridges), 'fridge')}, {terminal_chart.window_text(report)}"
        return Answer(data, False, lambda screen: screen.line(drawn))
    marks = terminal_chart.marks_for(getattr(sys.stdout, "encoding", None))

    def draw(screen: "Screen") -> None:
        screen.raw(terminal_chart.chart_text(report, width, marks))

    return Answer(data, False, draw)


def sheet_command(job: Job, month: str, fridge: str | None, out: str) -> Answer:
    """The month's log in a file to print."""
    from stockroom.pages.sheet import month_text, sheet_answer, sheet_html
    from stockroom.tasks.month_sheet import month_named, month_sheet

    with job.store().reading() as conn:
        report = month_sheet(conn, job.as_of(), month_named(month), fridge=fridge, site=job.site)
    written(job, out, sheet_html(report))

    def draw(screen: "Screen") -> None:
        screen.line(f"{out}: {month_text(report)}, {few([s.fridge.name for s in report.sheets])}")
        for s in report.sheets:
            missed = [d for d in s.days if d.unanswered]
            if missed:
                screen.alert(f"{s.fridge.name}: {count(s.missed, 'missed check')} that nobody has explained")
                day = missed[-1].day.isoformat()
                screen.todo(f"stockroom fridge explain {day} --fridge {quoted(s.fridge.name)} --why …")
            waiting = [f"E-{e.number}" for e in s.excursions if e.open]
            if waiting:
                screen.alert(f"{s.fridge.name}: no decision yet about {few(waiting, 8)}")
                screen.todo("stockroom fridge check")

    return Answer(sheet_answer(report, out), report.attention > 0, draw)
