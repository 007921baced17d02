"""How the day sheet looks on the screen and as JSON."""

from stockroom.cli.job import Answer, Job
from stockroom.cli.show import Screen
from stockroom.pages.values import instant
from stockroom.tasks.today import DaySheet, day_sheet


def day_answer(job: Job, role: str | None) -> Answer:
    """The day sheet for one role or all."""
    sheet = day_sheet(job.store(), job.as_of(), role=role, site=job.site)
    data = {
        "as_of": instant(sheet.as_of),
        "attention": sheet.attention,
        **{
            name: [
                {"slug": f.slug, "what": f.what, "todo": f.todo or None, "todos": f.todos, "urgent": f.urgent}
                for f in found
            ]
            for name, found in sheet.roles.items()
        },
    }
    return Answer(data, sheet.attention > 0, lambda screen: draw(screen, sheet))


def draw(screen: Screen, sheet: DaySheet) -> None:
    """A part for each role: what cannot wait, then the rest."""
    screen.heading(sheet.day)
    for role, found in sheet.roles.items():
        screen.line()
        screen.heading(role)
        if not found:
            screen.note("nothing to do now")
        for f in found:
            screen.finding(f)
