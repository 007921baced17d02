"""stockroom booking …: added, moved, cancelled, imported; what became of them."""

import sys
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated

import typer

from stockroom.cli.files import file_bytes
from stockroom.cli.job import Answer, Job, far, looks, recorded, records
from stockroom.cli.output import plain
from stockroom.errors import Refused

if TYPE_CHECKING:
    from stockroom.cli.show import Screen
    from stockroom.core import records as values
    from stockroom.core.warmup import Row
    from stockroom.formats.date_order import TwoReadings
    from stockroom.tasks.act import Recorded

group = typer.Typer(help="Bookings, and what became of them.", no_args_is_help=True)


def register(app: typer.Typer) -> None:
    """Adds the group."""
    app.add_typer(group, name="booking")


Booking = Annotated[str, typer.Argument(metavar="B-7", help="The booking's number, or its outside id.")]
Start = Annotated[str, typer.Option("--start", metavar="WHEN", help="2026-03-02T10:00, tomorrow 10:00, fri 9:30.")]
Why = Annotated[str, typer.Option("--why", metavar="TEXT", help="The reason, for the record.")]


@records(group, "add")
def add(
    job: Job,
    procedure: Annotated[str, typer.Argument(metavar="PROCEDURE", help="The procedure's code.")],
    start: Start,
    patient: Annotated[str, typer.Option("--patient", metavar="REF", help="The practice's own code, never a name.")],
    cycles: Annotated[int | None, typer.Option("--cycles", metavar="N", help="If not the usual number.")] = None,
) -> Answer:
    """Book; answers at once whether a kit can be warm in time."""
    from stockroom.tasks import book

    return _booked(job, *book.add(job.store(), job.act(), procedure, job.instant(start), patient, cycles))


@records(group, "move")
def move(job: Job, booking: Booking, start: Start) -> Answer:
    """Move a booking; answers at once whether a kit can be warm in time."""
    from stockroom.tasks import book

    return _booked(job, *book.move(job.store(), job.act(), booking, job.instant(start)))


def _booked(job: Job, result: "Recorded", booking: "values.Booking", rows: "Sequence[Row]") -> Answer:
    from stockroom.cli.warmup_show import draw_rows
    from stockroom.pages.answers import booking_answer, row_answer

    zone = job.zone()
    answer = recorded(
        result, lambda screen: draw_rows(screen, rows, zone, job.now, steps=any(r.state == "due" for r in rows))
    )
    answer.data |= {**booking_answer(booking), "warmup": [row_answer(r) for r in rows]}
    return answer


@records(group, "cancel")
def cancel(job: Job, booking: Booking, why: Why) -> Answer:
    """Cancel a booking; a kit that is out for it becomes free."""
    from stockroom.tasks import book

    return recorded(book.cancel(job.store(), job.act(), booking, why))


@records(group, "link")
def link(job: Job, booking: Booking, external_id: Annotated[str, typer.Argument(metavar="EXTERNAL_ID")]) -> Answer:
    """Say that a booking is known outside by an id, so that an import meets it."""
    from stockroom.tasks import book

    return recorded(book.link(job.store(), job.act(), booking, external_id))


@records(group, "import")
def import_(
    job: Job,
    file: Annotated[
        str, typer.Argument(metavar="FILE.csv|FILE.ics", help="A table (id,procedure,start,patient …) or a calendar.")
    ],
    column: Annotated[
        list[str] | None,
        typer.Option("--column", metavar="OURS=THEIRS", help='start="Begins at"; date=… and time=… for two columns.'),
    ] = None,
    state: Annotated[
        list[str] | None, typer.Option("--state", metavar="OURS=THEIRS", help="booked=Confirmed; may be repeated.")
    ] = None,
    procedure: Annotated[
        list[str] | None,
        typer.Option("--procedure", metavar="OURS=THEIRS", help="The file's word for a procedure; may be repeated."),
    ] = None,
    patient_pattern: Annotated[
        str | None,
        typer.Option("--patient-pattern", metavar="REGEX", help="How a patient code looks in a calendar: P-[0-9]+."),
    ] = None,
    day_first: Annotated[bool, typer.Option("--day-first", help="3/4/2026 is 3 April.")] = False,
    month_first: Annotated[bool, typer.Option("--month-first", help="3/4/2026 is 4 March.")] = False,
    cancel_missing: Annotated[
        bool, typer.Option("--cancel-missing", help="Cancel what the file's span does not have.")
    ] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Cancel them without being asked.")] = False,
) -> Answer:
    """Take in bookings: new, moved and cancelled ones, by their own id."""
    from stockroom.formats.date_order import TwoReadings
    from stockroom.tasks.import_bookings import import_bookings
    from stockroom.tasks.read_bookings import Reading

    if day_first and month_first:
        raise Refused("either-or", "two options say opposite things", "leave one of them out")
    name, data = file_bytes(file)
    reading = Reading(
        dict(_meanings(column)), tuple(_meanings(state)), tuple(_meanings(procedure)),
        True if day_first else False if month_first else None, patient_pattern,
    )  # fmt: skip
    act = job.act()

    def taken(reading: Reading) -> "Recorded":
        return import_bookings(
            job.store(), act, data, name, reading=reading, cancel_missing=cancel_missing,
            agreed=lambda listed: yes or _agreed(job, listed),
        )  # fmt: skip

    try:
        return recorded(taken(reading))
    except TwoReadings as fault:
        return recorded(taken(replace(reading, day_first=_day_first(job, fault))))


def _day_first(job: Job, fault: "TwoReadings") -> bool:
    """How a person at a terminal says that dates are meant. Raises: Refused where none is there, or none is chosen."""
    from stockroom.formats.date_order import plain_day

    if not job.at_terminal:
        raise fault
    by_day, by_month = plain_day(fault.by_day), plain_day(fault.by_month)
    sys.stderr.write(f"{plain(fault.what)}\n  in the row: {plain(fault.row)}\n  d  {by_day}\n  m  {by_month}\n")
    said = job.asked("Day first or month first? [d/m]").casefold()
    if said not in ("d", "day", "m", "month"):
        raise fault
    return said[0] == "d"


def _meanings(given: list[str] | None) -> list[tuple[str, str]]:
    """(our word, the file's) of each option; theirs may be empty. Raises: Refused."""
    found = []
    for text in given or []:
        ours, mark, theirs = text.partition("=")
        if not mark or not ours.strip():
            raise Refused("bad-option", f'"{text}" is not OURS=THEIRS', 'write it like start="Begins at"')
        found.append((ours.strip(), theirs.strip()))
    return found


def _agreed(job: Job, listed: list[str]) -> bool:
    """Shows what would be cancelled and asks. Raises: Refused where a person says no."""
    if not job.at_terminal:
        return False
    sys.stderr.write("Not in the file:\n" + "".join(f"  {plain(x)}\n" for x in listed))
    if not job.ask(f"Cancel {'it' if len(listed) == 1 else f'these {len(listed)}'}?"):
        raise Refused("not-agreed", "nothing was recorded", "without --cancel-missing the file goes in and they stay")
    return True


@looks(group, "list")
def list_(
    job: Job,
    days: Annotated[int | None, typer.Option("--days", metavar="N", help="From today, for so many days.")] = None,
) -> Answer:
    """Bookings in order of their start."""
    from stockroom.pages.answers import booking_answer
    from stockroom.pages.values import instant
    from stockroom.tasks.book import listed

    as_of = job.as_of()
    far(days)
    found = listed(job.store(), as_of, job.site, days)
    data = {"as_of": instant(as_of), "bookings": [booking_answer(b) for b in found]}
    zone = job.zone()

    def draw(screen: "Screen") -> None:
        from stockroom.core.when import local_text

        if not found:
            screen.line("No bookings.")
            return
        rows = [
            [
                f"B-{b.number}",
                local_text(b.start, zone, as_of),
                b.procedure,
                str(b.cycles or ""),
                b.patient,
                b.external_id or "",
                b.state,
            ]
            for b in found
        ]
        head = ["booking", "start", "procedure", "cycles", "patient", "outside id", "state"]
        widths = [max(map(len, column)) for column in zip(head, *rows, strict=True)]
        room = max(12, screen.width - sum(widths) + widths[5] - 2 * (len(head) - 1))
        screen.table(head, [[*r[:5], _short(r[5], room), r[6]] for r in rows], right=(3,))

    return Answer(data, False, draw)


def _short(external_id: str, most: int) -> str:
    """An outside id as a column has room for it: its beginning and its end; --json has the whole."""
    return external_id if len(external_id) <= most else f"{external_id[: most - 8]}…{external_id[-7:]}"


@records(group, "done")
def done(
    job: Job,
    booking: Annotated[
        list[str] | None, typer.Argument(metavar="[B-7]…", help="Number or outside id; without it: what is open.")
    ] = None,
    cycles: Annotated[int | None, typer.Option("--cycles", metavar="N", help="How many there really were.")] = None,
    stopped: Annotated[bool, typer.Option("--stopped", help="It was stopped early.")] = False,
    used: Annotated[
        list[str] | None, typer.Option("--used", metavar="PRODUCT=N", help="On top of the rule; may be repeated.")
    ] = None,
    lot: Annotated[
        list[str] | None, typer.Option("--lot", metavar="PRODUCT=LOT", help="The lot that was used; may be repeated.")
    ] = None,
    pull: Annotated[
        list[str] | None, typer.Option("--pull", metavar="P-5", help="The kit that was used; may be repeated.")
    ] = None,
    wasted: Annotated[
        list[str] | None, typer.Option("--wasted", metavar="P-5", help="A kit opened and not used; may be repeated.")
    ] = None,
) -> Answer | None:
    """Record that it took place and what it used. Without a number: what has not been recorded yet."""
    from stockroom.cli.catch_up_show import done_several, open_bookings, still_to_record
    from stockroom.core.units import whole
    from stockroom.tasks.finish import Outcome, pairs
    from stockroom.tasks.finish import done as finished

    special = cycles is not None or stopped or used or lot or pull or wasted
    if not booking:
        if special:
            raise Refused(
                "which-booking", "nobody says of which booking", "stockroom booking done B-7 with the options"
            )
        return open_bookings(job)
    if len(booking) > 1:
        if special or job.at_text is not None:
            raise Refused(
                "one-at-a-time", "several bookings are recorded as they were booked, at their own times",
                "record the one that went otherwise by itself",
            )  # fmt: skip
        return done_several(job, list(dict.fromkeys(booking)))
    if cycles is not None and not 0 <= cycles <= 100:
        raise Refused("bad-cycles", f"{cycles} cycles cannot be", "give 0 to 100")
    extra = {code: whole(n) for code, n in pairs(used or [], "N").items()}
    outcome = Outcome(cycles, stopped, extra, pairs(lot or [], "LOT"), tuple(pull or ()), tuple(wasted or ()))
    result = finished(job.store(), job.act(), booking[0], outcome)
    return recorded(result, lambda screen: still_to_record(job, screen))


@records(group, "missed")
def missed(
    job: Job,
    booking: Booking,
    kit: Annotated[str | None, typer.Option("--kit", metavar="sealed|opened", help="What became of its kit.")] = None,
) -> Answer:
    """Record that nobody came or that it was declined; an opened kit is used up."""
    from stockroom.tasks.finish import missed as not_come

    if kit not in (None, "sealed", "opened"):
        raise Refused("sealed-or-opened", f'a kit is not "{kit}"', "--kit sealed or --kit opened")
    if kit is None and job.at_terminal:
        kit = "opened" if job.ask("Was its kit opened?") else "sealed"
    return recorded(not_come(job.store(), job.act(), booking, kit))
