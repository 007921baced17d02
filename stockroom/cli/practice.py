"""stockroom practice …: the practice file, closed days and open ones."""

import sys
from typing import Annotated

import typer

from stockroom.cli.files import file_bytes
from stockroom.cli.job import Answer, Job, looks, recorded, records
from stockroom.cli.output import plain
from stockroom.core.address import without_password
from stockroom.errors import Refused

group = typer.Typer(help="The practice's own rules: its file, closed days, open ones.", no_args_is_help=True)


def register(app: typer.Typer) -> None:
    """Adds the group."""
    app.add_typer(group, name="practice")


@records(group, "load")
def load(
    job: Job,
    file: Annotated[str, typer.Argument(metavar="PRACTICE.toml", help="The changed practice file.")],
    yes: Annotated[bool, typer.Option("--yes", help="Apply it without being asked.")] = False,
) -> Answer:
    """Apply a changed practice file; what happened before keeps the rules of its time."""
    from stockroom.tasks import setup

    name, data = file_bytes(file)
    act = job.act()
    with job.store().reading() as conn:
        loading = setup.compared(conn, data, name, act.at)
    if not yes and not _agreed(job, loading.changes):
        raise Refused("not-agreed", "nothing was loaded", "to apply it without being asked add --yes")
    return recorded(setup.load(job.store(), act, loading))


def _agreed(job: Job, changes: tuple[str, ...]) -> bool:
    listed = "".join(f"  {c}\n" for c in changes) or "  only its text\n"
    sys.stderr.write(f"This changes:\n{listed}")
    return job.at_terminal and job.ask("Load it?")


@records(group, "target")
def target(
    job: Job,
    product: Annotated[str, typer.Argument(metavar="PRODUCT", help="The product's code.")],
    wanted: Annotated[str, typer.Argument(metavar="TARGET", help="Its service target, a part of 1 such as 0.95.")],
    why: Annotated[str, typer.Option("--why", metavar="TEXT", help="The reason, for the record.")],
) -> Answer:
    """Give a product another service target: the practice file in force with that one line changed."""
    from stockroom.tasks.set_target import set_target

    return recorded(set_target(job.store(), job.act(), product, wanted, why))


@looks(group, "show")
def show(job: Job) -> Answer:
    """Print the practice file in force, as `practice load` accepts it."""
    from stockroom.formats.practice_file import read_practice
    from stockroom.pages.values import instant
    from stockroom.tasks.rules import text_in_force

    as_of = job.as_of()
    with job.store().reading() as conn:
        text = text_in_force(conn, as_of)
    practice = read_practice(text, "practice")
    data = {
        "as_of": instant(as_of),
        "practice": practice.name,
        "timezone": practice.timezone,
        "text": text,
        "findings": list(practice.findings),
    }
    if not job.json:
        # The text on the screen is a file to keep: what it is of stands beside it, not in it.
        sys.stderr.write(f"[{plain(without_password(job.where))}]\n")
    return Answer(data, False, lambda screen: screen.raw(text), quiet=True)


Day = Annotated[str, typer.Argument(metavar="DAY", help="2026-03-02, monday, tomorrow.")]
From = Annotated[str | None, typer.Option("--from", metavar="HH:MM", help="From this time of the day.")]
To = Annotated[str | None, typer.Option("--to", metavar="HH:MM", help="Until this time of the day.")]


@records(group, "closed")
def closed(
    job: Job,
    day: Day,
    why: Annotated[str, typer.Option("--why", metavar="TEXT", help="Why nobody is in.")],
    start: From = None,
    end: To = None,
) -> Answer:
    """Nobody is in on that day, or part of it; says which bookings that breaks."""
    return _except(job, day, False, start, end, why)


@records(group, "open")
def opened(
    job: Job,
    day: Day,
    why: Annotated[str, typer.Option("--why", metavar="TEXT", help="Why somebody is in after all.")] = "",
    start: From = None,
    end: To = None,
) -> Answer:
    """Somebody is in on that day after all, at its usual hours or the ones given."""
    return _except(job, day, True, start, end, why)


def _except(job: Job, day: str, opens: bool, start: str | None, end: str | None, why: str) -> Answer:
    from stockroom.core.when import day as read_day
    from stockroom.tasks.setup import except_day

    on = read_day(day, job.zone(), job.now)
    hours = None if start is None and end is None else (_minute(start or "00:00"), _minute(end or "24:00"))
    return recorded(except_day(job.store(), job.act(), on, opens, hours, why)[0])


def _minute(text: str) -> int:
    import re

    found = re.fullmatch(r"(\d{1,2}):(\d{2})", text.strip())
    minute = int(found.group(1)) * 60 + int(found.group(2)) if found else -1
    if not 0 <= minute <= 1440 or (found and int(found.group(2)) > 59):
        raise Refused("bad-time", f'"{text}" is not a time of the day', "write it like 13:00")
    return minute
