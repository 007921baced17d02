"""stockroom fridge …: checks by hand, logger files, what happened, and what a person says about it."""

from typing import Annotated

import typer

from stockroom.cli.files import file_bytes
from stockroom.cli.job import Answer, Job, looks, recorded, records
from stockroom.errors import Refused

group = typer.Typer(help="Checks by hand, logger files, excursions and their decisions.", no_args_is_help=True)


def register(app: typer.Typer) -> None:
    """Adds the group."""
    app.add_typer(group, name="fridge")


Fridge = Annotated[str | None, typer.Option("--fridge", metavar="NAME", help="Which fridge, where there are several.")]
Fahrenheit = Annotated[bool, typer.Option("--fahrenheit", help="The numbers are °F.")]
Why = Annotated[str, typer.Option("--why", metavar="TEXT", help="The reason, for the record.")]


@records(group, "log")
def log(
    job: Job,
    celsius: Annotated[str, typer.Argument(metavar="CELSIUS", help="What the display shows: 4.4 or -0.4.")],
    low: Annotated[
        str | None, typer.Option("--min", metavar="X", help="The display's min since the last reset.")
    ] = None,
    high: Annotated[
        str | None, typer.Option("--max", metavar="Y", help="The display's max since the last reset.")
    ] = None,
    fridge: Fridge = None,
    note: Annotated[str | None, typer.Option("--note", metavar="TEXT", help="Anything to add.")] = None,
    fahrenheit: Fahrenheit = False,
) -> Answer:
    """Record one check by hand; warns at once, with what to do."""
    from stockroom.core.units import milli_celsius
    from stockroom.tasks.log_check import log_check

    def read(text: str | None) -> int | None:
        return None if text is None else milli_celsius(text, fahrenheit=fahrenheit)

    milli = milli_celsius(celsius, fahrenheit=fahrenheit)
    result = log_check(job.store(), job.act(), milli, low=read(low), high=read(high), fridge=fridge, note=note)

    from stockroom.cli.fridge_show import draw_advice

    return recorded(result, lambda screen: draw_advice(screen, result.fields["advice"]))


@records(group, "import")
def import_(
    job: Job,
    files: Annotated[list[str], typer.Argument(metavar="FILE.csv…", help="The logger's files.")],
    fridge: Fridge = None,
    zone: Annotated[
        str | None, typer.Option("--zone", metavar="ZONE", help="For times without one: Europe/Lisbon, UTC.")
    ] = None,
    celsius: Annotated[bool, typer.Option("--celsius", help="The numbers are °C.")] = False,
    fahrenheit: Fahrenheit = False,
    time_column: Annotated[str | None, typer.Option("--time-column", metavar="N", help="Name or number.")] = None,
    temperature_column: Annotated[
        str | None, typer.Option("--temperature-column", metavar="N", help="Name or number.")
    ] = None,
    day_first: Annotated[bool, typer.Option("--day-first", help="3/4/2026 is 3 April.")] = False,
    month_first: Annotated[bool, typer.Option("--month-first", help="3/4/2026 is 4 March.")] = False,
) -> Answer:
    """Take in logger files; no reading twice.

    All of them or nothing.
    """
    from stockroom.tasks.import_log import import_log
    from stockroom.tasks.read_logs import Reading

    if (celsius and fahrenheit) or (day_first and month_first):
        raise Refused("either-or", "two options say opposite things", "leave one of them out")
    unit = "C" if celsius else "F" if fahrenheit else None
    reading = Reading(
        zone, unit, time_column, temperature_column, True if day_first else False if month_first else None
    )
    result = import_log(job.store(), job.act(), [file_bytes(f) for f in files], fridge=fridge, reading=reading)

    from stockroom.cli.fridge_show import draw_import

    return recorded(result, lambda screen: draw_import(screen, result.fields, job.zone(), job.now))


@records(group, "decide")
def decide(
    job: Job,
    excursions: Annotated[list[str], typer.Argument(metavar="E-3…", help="The excursion's number, or several.")],
    why: Why,
    release: Annotated[bool, typer.Option("--release", help="All that it touched is free again.")] = False,
    discard: Annotated[bool, typer.Option("--discard", help="All that it touched is thrown away.")] = False,
    answer: Annotated[
        str | None, typer.Option("--answer", metavar="TEXT", help="What the maker or clinician answered.")
    ] = None,
    exceptions: Annotated[
        list[str] | None, typer.Option("--except", metavar="PRODUCT/LOT", help="Stays held; may be repeated.")
    ] = None,
) -> Answer:
    """Decide about all that an excursion touched.

    Under your own initials.
    """
    from stockroom.tasks.decide import decide as decided

    if release == discard:
        raise Refused("release-or-discard", "say what is decided", "--release or --discard")
    verdict = "release" if release else "discard"
    return recorded(
        decided(job.store(), job.act(), excursions, verdict, why, answer=answer, exceptions=exceptions or ())
    )


@records(group, "explain")
def explain(
    job: Job,
    day: Annotated[str, typer.Argument(metavar="DAY", help="2026-03-02, yesterday.")],
    why: Why,
    fridge: Fridge = None,
    until: Annotated[
        str | None, typer.Option("--until", metavar="DAY", help="All days from the first to this one.")
    ] = None,
) -> Answer:
    """Answer for a missed check or a gap."""
    from stockroom.core.when import day as read_day
    from stockroom.tasks.decide import explain as explained

    act = job.act()
    first = read_day(day, job.zone(), act.at, past=True)
    last = None if until is None else read_day(until, job.zone(), act.at, past=True)
    return recorded(explained(job.store(), act, first, why, fridge, last))


@records(group, "off")
def off(job: Job, name: Annotated[str, typer.Argument(metavar="NAME")], why: Why) -> Answer:
    """Take a fridge out of use: defrosting, repair. Refused while stock is inside."""
    from stockroom.tasks.decide import switch

    return recorded(switch(job.store(), job.act(), name, False, why))


@records(group, "on")
def on(job: Job, name: Annotated[str, typer.Argument(metavar="NAME")]) -> Answer:
    """Take a fridge into use again."""
    from stockroom.tasks.decide import switch

    return recorded(switch(job.store(), job.act(), name, True, None))


@looks(group, "check")
def check(
    job: Job,
    fridge: Fridge = None,
    since: Annotated[
        str | None, typer.Option("--since", metavar="DAY", help="Only what reached past that day.")
    ] = None,
) -> Answer:
    """Excursions, gaps, missed checks, drift, calibration."""
    from stockroom.cli.fridge_show import draw_check
    from stockroom.core.when import day as read_day
    from stockroom.pages.answers import check_answer
    from stockroom.tasks import fridge_now
    from stockroom.tasks.fault_plan import fault_plan, line
    from stockroom.tasks.places import fridge_named

    rule = job.rules()
    name = None if fridge is None else fridge_named(rule.practice, fridge, job.site)
    first = None
    if since is not None:
        opening = next(iter(rule.openings.values()))
        first = opening.midnight(read_day(since, rule.zone, job.as_of(), past=True))
    with job.store().reading() as conn:
        report = fridge_now.check(conn, job.as_of(), fridge=name, since=first, site=job.site)
        plans = {f.fridge.name: fault_plan(conn, rule, f, report.as_of) for f in report.fridges}
    held = {code for f in report.fridges for e in f.excursions if e.open for code, _, _ in e.lots}
    words = [f"{p.code}: {w}" for p in rule.practice.products if p.code in held for w in p.caution]
    data = check_answer(report, {n: [line(step) for step in plan] for n, plan in plans.items()})
    needed = report.attention > 0 or any(step.urgent for plan in plans.values() for step in plan)
    return Answer(data, needed, lambda screen: draw_check(screen, report, plans, rule.zone, words))


@looks(group, "chart")
def chart(
    job: Job,
    fridge: Fridge = None,
    days: Annotated[int, typer.Option("--days", metavar="N", help="How many days back.")] = 7,
    out: Annotated[str | None, typer.Option("--out", metavar="FILE.svg", help="A picture instead.")] = None,
) -> Answer:
    """The temperature with its limits.

    On the screen, or as an SVG picture.
    """
    from stockroom.cli.fridge_papers import chart_command

    return chart_command(job, fridge, days, out)


@looks(group, "sheet")
def sheet(
    job: Job,
    month: Annotated[str, typer.Option("--month", metavar="YYYY-MM", help="Which month: 2026-03.")],
    out: Annotated[str, typer.Option("--out", metavar="FILE.html", help="The file to write.")],
    fridge: Fridge = None,
) -> Answer:
    """The month's log, a page for each fridge.

    As inspectors ask for it, to print.
    """
    from stockroom.cli.fridge_papers import sheet_command

    return sheet_command(job, month, fridge, out)
