"""stockroom records …: who did what when, and the proof that nothing was altered."""

from typing import TYPE_CHECKING, Annotated

import typer

from stockroom.cli.job import Answer, Job, looks

if TYPE_CHECKING:
    from stockroom.cli.show import Screen
    from stockroom.store.entries import EntryRow

group = typer.Typer(help="Who did what when, and the proof that nothing was altered.", no_args_is_help=True)


def register(app: typer.Typer) -> None:
    """Adds the group."""
    from stockroom.cli import records_copies

    records_copies.register(group)
    app.add_typer(group, name="records")


@looks(group, "history")
def history(
    job: Job,
    since: Annotated[str | None, typer.Option("--since", metavar="DAY", help="Recorded since that day.")] = None,
) -> Answer:
    """Who did what, when; what was taken back is marked."""
    from stockroom.core.when import day as read_day
    from stockroom.core.when import local_text
    from stockroom.pages.values import instant
    from stockroom.tasks.undo import history as entries

    rule = job.rules()
    opening = next(iter(rule.openings.values()))
    first = 0 if since is None else opening.midnight(read_day(since, rule.zone, job.now, past=True))
    as_of = job.as_of()
    rows = entries(job.store(), first, as_of)

    def told(e: "EntryRow") -> str:
        of = f" (of {local_text(e.at, rule.zone, job.now)})" if abs(e.recorded_at - e.at) > 3600 else ""
        return e.what + of + (f" [taken back by R-{e.reversed_by}]" if e.reversed_by else "")

    def draw(screen: "Screen") -> None:
        lines = [[f"R-{e.n}", local_text(e.recorded_at, rule.zone, job.now), e.by, told(e)] for e in rows]
        screen.table(["entry", "recorded", "by", "what"], lines)

    data = {
        "as_of": instant(as_of),
        "entries": [
            {
                "entry": f"R-{e.n}",
                "kind": e.kind,
                "at": instant(e.at),
                "recorded_at": instant(e.recorded_at),
                "by": e.by,
                "site": e.site,
                "what": e.what,
                "reversed_by": None if e.reversed_by is None else f"R-{e.reversed_by}",
            }
            for e in rows
        ],
    }
    return Answer(data, False, draw)


@looks(group, "verify")
def verify(job: Job) -> Answer:
    """Prove that no record was altered, lost or doubled."""
    from stockroom.core.units import count
    from stockroom.store.verify import verified
    from stockroom.tasks.rebuild import faults

    report = verified(job.store(), job.advance)
    stale: list[str] = []
    if not report.faults:
        # What is computed from records that were altered proves nothing, and may not even be computable.
        with job.store().reading() as conn:
            stale = faults(conn, job.advance)

    def draw(screen: "Screen") -> None:
        if not report.faults:
            screen.line(
                f"{count(report.entries, 'entry', 'entries')}, each sealed and in order; head {report.head[:16]}"
            )
            screen.note("Keep that head outside the database: who can write the file can forge the whole chain.")
        for fault in (*report.faults, *stale):
            screen.alert(fault)
        if report.faults:
            screen.todo(
                "leave the database as it is, and compare it with the last copy: someone has to say what happened"
            )
        if stale:
            screen.todo("no record is touched by that; make it anew: stockroom database rebuild")

    data = {"entries": report.entries, "head": report.head, "faults": [*report.faults, *stale]}
    return Answer(data, bool(data["faults"]), draw)
