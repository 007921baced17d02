"""stockroom records backup, restore, export, import, copy: the whole record out and in."""

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated, Any

import typer

from stockroom.cli.job import Answer, Job, tends
from stockroom.errors import Refused

if TYPE_CHECKING:
    from stockroom.cli.show import Screen


def register(group: typer.Typer) -> None:
    """Adds the commands to ``records``."""
    tends(group, "backup")(backup)
    tends(group, "restore")(restore)
    tends(group, "export")(export)
    tends(group, "import")(import_)
    tends(group, "copy")(copy)


def _said(data: dict[str, Any], line: str) -> Answer:
    """One answer: what was done, and the head to keep."""

    from stockroom.core.units import count

    def draw(screen: "Screen") -> None:
        screen.line(line)
        if data.get("head"):
            screen.note(f"{count(data['entries'], 'entry', 'entries')}, head {data['head']}")
            screen.note("Keep that head somewhere else: a forged file cannot be made to fit it.")

    return Answer(data, False, draw)


def backup(
    job: Job,
    file: Annotated[str, typer.Argument(metavar="FILE", help="A new SQLite file.")],
) -> Answer:
    """Copy the database while it is in use, and prove the copy."""
    from stockroom.tasks.copies import backed_up

    made = backed_up(job.store(), file, job.advance)
    return _said(
        {"file": made.file, "entries": made.entries, "head": made.head},
        f"{made.file} is a whole copy of {job.store().name}",
    )


def restore(
    job: Job,
    file: Annotated[str, typer.Argument(metavar="FILE", help="A copy made by this program.")],
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
) -> Answer:
    """Put a copy in the database's place, once it has proved itself; what was there is kept beside it."""
    from stockroom.core.units import count
    from stockroom.tasks.copies import restored, restoring

    found = restoring(job.where, file, job.advance)
    loss = []
    if not found.same:
        loss.append("the copy is of another practice")
    if found.later:
        loss.append(f"{count(found.later, 'entry', 'entries')} recorded after the copy will be missing")
    if loss and not yes:
        what = "; ".join(loss)
        if not job.at_terminal or not job.ask(
            f"{what[0].upper()}{what[1:]}. What is there now is kept in a file of its own. Restore?"
        ):
            raise Refused("not-agreed", what, f"to restore all the same: stockroom records restore {file} --yes")
    stamp = datetime.fromtimestamp(job.now, UTC).strftime("%Y%m%dT%H%M%SZ")
    kept = restored(job.where, file, stamp)
    data = {
        "file": file, "entries": found.copy.entries, "head": found.copy.head, "entries_missing": found.later, "kept": kept,
    }  # fmt: skip
    return _said(data, f"restored from {file}" + (f"; what was there is in {kept}" if kept else ""))


def export(
    job: Job,
    folder: Annotated[str, typer.Argument(metavar="DIR", help="A new folder.")],
) -> Answer:
    """Write every table as CSV, with a manifest."""
    from stockroom.core.units import count
    from stockroom.tasks.exports import exported

    made = exported(job.store(), folder, job.advance)
    data = {
        "folder": folder, "entries": made["head"]["entries"], "head": made["head"]["hash"],
        "files": [{"file": f["file"], "rows": f["rows"], "sha256": f["sha256"]} for f in made["files"]],
    }  # fmt: skip
    rows = sum(f["rows"] for f in made["files"])
    return _said(
        data,
        f"{folder}: {count(len(made['files']), 'table')}, {count(rows, 'row')}; patient codes are in it, keep it safe",
    )


def import_(
    job: Job,
    folder: Annotated[str, typer.Argument(metavar="DIR", help="The folder of an export.")],
) -> Answer:
    """Make a new database from an export, and prove it."""
    from stockroom.tasks.exports import imported

    made = imported(job.where, folder, job.advance)
    return _said(
        {"database": made.file, "entries": made.entries, "head": made.head},
        f"{made.file} holds the export, and proves itself",
    )


def copy(
    job: Job,
    to: Annotated[str, typer.Option("--to", metavar="PATH_OR_URL", help="A new database, SQLite or PostgreSQL.")],
) -> Answer:
    """Move the whole practice to another database, and prove both equal."""
    from stockroom.tasks.copies import copied_to

    made = copied_to(job.store(), to, job.advance)
    return _said(
        {"database": made.file, "entries": made.entries, "head": made.head},
        f"{made.file} is equal to {job.store().name}, row by row",
    )
