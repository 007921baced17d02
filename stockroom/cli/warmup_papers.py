"""stockroom warmup list and labels: what goes to the screen or into a file to print."""

from typing import TYPE_CHECKING

from stockroom.cli.files import written
from stockroom.cli.job import Answer, Job
from stockroom.core.units import count
from stockroom.core.when import day as read_day

if TYPE_CHECKING:
    from stockroom.cli.show import Screen


def list_command(job: Job, day: str | None, out: str | None) -> Answer:
    """The sheet for the fridge door."""
    from stockroom.cli.warmup_show import draw_list
    from stockroom.pages.answers import row_answer
    from stockroom.pages.door import door_answer, door_html
    from stockroom.tasks.door_list import door_list
    from stockroom.tasks.rules import rules

    as_of, zone = job.as_of(), job.zone()
    on = read_day(day or "today", zone, as_of)
    with job.store().reading() as conn:
        door = door_list(conn, rules(conn, as_of), as_of, on, job.site)
    if out is not None:
        written(job, out, door_html(door, zone))
    data = door_answer(door, [row_answer(t.row) for t in door.take], out)
    return Answer(data, False, lambda screen: draw_list(screen, door, zone, out))


def labels_command(job: Job, named: list[str], day: str | None, grid: tuple[int, int, int], out: str) -> Answer:
    """Labels for kits that are out."""
    from stockroom.pages.door import Grid, labels_answer, labels_html
    from stockroom.tasks.door_list import labels
    from stockroom.tasks.rules import rules

    as_of, zone = job.as_of(), job.zone()
    made = Grid(*grid).checked()
    on = None if day is None else read_day(day, zone, as_of)
    with job.store().reading() as conn:
        found = labels(conn, rules(conn, as_of), as_of, named, on, job.site)
    if found:
        written(job, out, labels_html(found, made, zone, as_of))

    def draw(screen: "Screen") -> None:
        if not found:
            screen.line("No kit is out" + ("" if on is None else " that was taken out on that day") + ": no labels.")
            return
        width, height = made.size
        screen.line(
            f"{out}: {count(len(found), 'label')} of {width:g} x {height:g} mm; print at 100 %, without margins"
        )
        for x in found:
            if x.held:
                screen.alert(f"{x.pull.place} is in quarantine or has expired: its label says DO NOT USE")

    return Answer(labels_answer(found, made, as_of, out if found else ""), any(x.held for x in found), draw)
