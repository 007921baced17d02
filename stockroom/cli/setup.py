"""stockroom init, database upgrade, rights and rebuild, undo, today."""

from typing import Annotated

import typer

from stockroom.cli.files import file_bytes
from stockroom.cli.job import Answer, Job, looks, recorded, records, tends
from stockroom.errors import Refused

database = typer.Typer(help="The database itself.", no_args_is_help=True)


def register(app: typer.Typer) -> None:
    """Adds the commands that stand by themselves."""
    records(app, "init")(init)
    records(app, "undo")(undo)
    looks(app, "today")(today)
    app.add_typer(database, name="database")


def init(job: Job, file: Annotated[str, typer.Argument(metavar="PRACTICE.toml", help="The practice file.")]) -> Answer:
    """Make the database and load the practice file into it."""
    from zoneinfo import ZoneInfo

    from stockroom.core.when import instant
    from stockroom.tasks import setup
    from stockroom.tasks.act import Act

    name, data = file_bytes(file)
    by = job.signed()
    _, _, zone = setup.checked_practice(data, name)
    at = job.now if job.at_text is None else instant(job.at_text, ZoneInfo(zone), job.now, past=True)
    store, result = setup.init(job.where, Act(by, at, job.now), data, name)
    job._store = store
    steps = [
        f"the database is {store.name}",
        "next: stockroom stock opening FILE.csv, or: stockroom stock receive PRODUCT --lot …",
    ]
    return recorded(result, lambda screen: screen.todos(steps), quiet=True)


def undo(
    job: Job,
    why: Annotated[str, typer.Option("--why", metavar="TEXT", help="Why it is taken back.")],
    entry: Annotated[
        str | None, typer.Argument(metavar="[ENTRY]", help="R-12; the last one of yours by default.")
    ] = None,
) -> Answer:
    """Take back your last entry, or the one named.

    Both stay in the history.
    """
    from stockroom.tasks.undo import undo as take_back

    return recorded(take_back(job.store(), job.act(), entry, why))


def today(
    job: Job,
    role: Annotated[str | None, typer.Option("--for", metavar="ROLE", help="assistant, scheduler or manager.")] = None,
) -> Answer:
    """The day sheet: what each role has to do now."""
    from stockroom.cli.day import day_answer

    if role not in (None, "assistant", "scheduler", "manager"):
        raise Refused("unknown-role", f'there is no role "{role}"', "assistant, scheduler or manager")
    return day_answer(job, role)


@tends(database, "upgrade")
def upgrade(
    job: Job,
) -> Answer:
    """Bring an older database to this version, after a copy."""
    from datetime import UTC, datetime

    from stockroom.tasks.setup import bring_up

    stamp = datetime.fromtimestamp(job.now, UTC).strftime("%Y%m%dT%H%M%SZ")
    result = bring_up(job.where, stamp, job.advance)
    if result["from"] == result["to"]:
        text = f"already at revision {result['to']}"
    else:
        text = (
            f"revision {result['from']} -> {result['to']}; the copy from before: {result['copy'] or 'none (a server)'}"
        )
    return Answer(result, False, lambda screen: screen.line(text))


@tends(database, "rights")
def rights(
    job: Job,
    role: Annotated[str, typer.Argument(metavar="ROLE", help="The server's role that people log in with.")],
) -> Answer:
    """Print the SQL that lets a role of a server add and read, and nothing else.

    It changes nothing itself: the owner of the database runs it.
    """
    from stockroom.store.rights import rights_sql

    text = rights_sql(role)
    return Answer({"role": role, "sql": text}, False, lambda screen: screen.raw(text), quiet=True)


@tends(database, "rebuild")
def rebuild(
    job: Job,
) -> Answer:
    """Compute spells, silences and days anew.

    Everything that is made from the readings; no record changes.
    """
    from stockroom.tasks.rebuild import rebuilt

    n = rebuilt(job.store(), job.advance)
    text = f"what is computed from the readings was made anew for {n} fridge{'' if n == 1 else 's'}"
    return Answer({"fridges": n}, False, lambda screen: screen.line(text))
