"""stockroom warmup …: which kit leaves the fridge when, and whether it will be warm."""

from typing import TYPE_CHECKING, Annotated

import typer

from stockroom.cli.job import Answer, Job, far, looks, recorded, records
from stockroom.errors import Refused

if TYPE_CHECKING:
    from stockroom.cli.show import Screen

group = typer.Typer(help="Which kit leaves the fridge when, and whether it will be warm.", no_args_is_help=True)


def register(app: typer.Typer) -> None:
    """Adds the group."""
    app.add_typer(group, name="warmup")


@looks(group, "check")
def check(
    job: Job, days: Annotated[int | None, typer.Option("--days", metavar="N", help="Only so many days ahead.")] = None
) -> Answer:
    """Every coming booking that needs a cold kit, and whether it will be warm."""
    from stockroom.cli.warmup_show import draw_plan
    from stockroom.pages.answers import plan_answer
    from stockroom.tasks.broken_plan import broken
    from stockroom.tasks.in_vain import in_vain
    from stockroom.tasks.rules import rules
    from stockroom.tasks.warm_plan import warm_plan

    far(days)
    as_of, zone = job.as_of(), job.zone()
    with job.store().reading() as conn:
        rule = rules(conn, as_of)
        plan = warm_plan(conn, as_of, site=job.site, days=days, rule=rule)
        broke = broken(conn, rule, plan, job.site)
        vain = [in_vain(u, rule, as_of) for u in plan.unused]
    data = plan_answer(plan, broke, vain)
    return Answer(data, plan.attention > 0, lambda screen: draw_plan(screen, plan, broke, vain, zone))


@looks(group, "when")
def when(
    job: Job,
    procedure: Annotated[str, typer.Argument(metavar="PROCEDURE", help="The procedure's code.")],
    days: Annotated[int, typer.Option("--days", metavar="N", help="How far to look ahead.")] = 7,
    cycles: Annotated[int | None, typer.Option("--cycles", metavar="N", help="If not the usual number.")] = None,
) -> Answer:
    """For the telephone: the times at which a warm kit could be had."""
    from stockroom.cli.warmup_show import draw_offers
    from stockroom.pages.values import instant
    from stockroom.tasks.offer_times import offered

    if not 0 <= days <= 60:
        raise Refused("bad-days", f"{days} days cannot be looked at", "give 0 to 60")
    as_of, zone = job.as_of(), job.zone()
    found = offered(job.store(), as_of, procedure, cycles, days, job.site)
    data = {
        "as_of": instant(as_of),
        "procedure": found.procedure,
        "minutes": found.minutes,
        "times": [
            {
                "day": o.day.isoformat(),
                "first_start": instant(o.first),
                "last_start": instant(o.last),
                "kit": o.kit,
                "take_out_by": instant(o.take_out_by),
            }
            for o in found.offers
        ],
        "none": [{"day": d.isoformat(), "why": why} for d, why in found.none],
    }
    return Answer(data, False, lambda screen: draw_offers(screen, found, zone, as_of))


@looks(group, "list")
def list_(
    job: Job,
    day: Annotated[str | None, typer.Option("--day", metavar="DAY", help="Today, unless told otherwise.")] = None,
    out: Annotated[
        str | None, typer.Option("--out", metavar="FILE.html", help="The sheet for the fridge door, to print.")
    ] = None,
) -> Answer:
    """What to take out on a day: when, from which fridge, which lot."""
    from stockroom.cli.warmup_papers import list_command

    return list_command(job, day, out)


@looks(group, "labels")
def labels(
    job: Job,
    out: Annotated[str, typer.Option("--out", metavar="FILE.html", help="The file to print.")],
    pulls: Annotated[
        list[str] | None, typer.Argument(metavar="[P-5]…", help="These kits; without any all that are out.")
    ] = None,
    day: Annotated[str | None, typer.Option("--day", metavar="DAY", help="Those taken out on that day.")] = None,
    columns: Annotated[int, typer.Option("--columns", metavar="N", help="Labels across an A4 sheet.")] = 3,
    rows: Annotated[int, typer.Option("--rows", metavar="N", help="Labels down an A4 sheet.")] = 8,
    skip: Annotated[int, typer.Option("--skip", metavar="N", help="So many of the sheet are used already.")] = 0,
) -> Answer:
    """Labels for kits that are out, each with a square code that a scanner types."""
    from stockroom.cli.warmup_papers import labels_command

    return labels_command(job, pulls or [], day, (columns, rows, skip), out)


@looks(group, "calendar")
def calendar(
    job: Job,
    out: Annotated[str, typer.Option("--out", metavar="FILE.ics", help="Where to write it.")],
    alarm: Annotated[int, typer.Option("--alarm", metavar="MINUTES", help="How long before it reminds.")] = 15,
    with_patients: Annotated[
        bool, typer.Option("--with-patients", help="With the patients' codes, which else stay here.")
    ] = False,
) -> Answer:
    """The take-out times as calendar reminders, the same ids each time."""
    from stockroom.cli.files import written
    from stockroom.core.units import count
    from stockroom.pages.take_out_ics import calendar_answer, calendar_text
    from stockroom.tasks.take_out_calendar import take_out_calendar

    if not 0 <= alarm <= 10_080:
        raise Refused("bad-alarm", f"an alarm cannot be {alarm} minutes before", "give 0 to 10080 (seven days)")
    as_of = job.as_of()
    with job.store().reading() as conn:
        made = take_out_calendar(conn, as_of, site=job.site, patients=with_patients)
    written(job, out, calendar_text(made, alarm))
    gone = sum(e.cancelled for e in made.events)
    drawn = f"{out}: {count(len(made.events) - gone, 'take-out')}" + (f", {gone} no longer wanted" if gone else "")
    return Answer(calendar_answer(made, out), False, lambda screen: screen.line(drawn))


@records(group, "pull")
def pull(
    job: Job,
    booking: Annotated[str | None, typer.Argument(metavar="[B-7]", help="The booking it is for.")] = None,
    product: Annotated[
        str | None, typer.Option("--product", metavar="P", help="Without a booking: this product.")
    ] = None,
    lot: Annotated[
        str | None, typer.Option("--lot", metavar="L", help="This lot instead of the first to expire.")
    ] = None,
    extra: Annotated[bool, typer.Option("--extra", help="A second kit although it has one.")] = False,
) -> Answer:
    """Record that kits left the fridge: all that the booking needs, a P-number each."""
    from stockroom.tasks.take_out import take_out, too_early

    act = job.act()
    if booking is not None and product is not None:
        raise Refused("either-or", "a booking or a product, not both", "stockroom warmup pull B-7")
    if booking is not None and act.ask is not None:
        early = too_early(job.store(), act, booking)
        if early and not act.ask(f"{early} Is it out all the same?"):
            raise Refused("too-early", "nothing was recorded", "leave the kit in the fridge until then")
    result = take_out(job.store(), act, booking=booking, product=product, lot=lot, extra=extra)
    zone = job.zone()

    def draw(screen: "Screen") -> None:
        from stockroom.cli.warmup_show import draw_pulls

        draw_pulls(screen, result.fields["pulls"], zone, job.now)

    return recorded(result, draw)


@records(group, "back")
def back(
    job: Job,
    pull: Annotated[str, typer.Argument(metavar="P-5", help="The kit that is out.")],
    into: Annotated[str | None, typer.Option("--into", metavar="FRIDGE", help="If not where it came from.")] = None,
) -> Answer:
    """An unopened kit goes back where its product allows; it keeps its hours out and warms anew."""
    from stockroom.tasks.put_back import put_back

    return recorded(put_back(job.store(), job.act(), pull, into))


@records(group, "promise")
def promise(
    job: Job,
    pull: Annotated[str, typer.Argument(metavar="P-5", help="The kit that is out.")],
    booking: Annotated[str, typer.Argument(metavar="B-9", help="The booking it is for from now on.")],
) -> Answer:
    """Promise a kit that is out to another booking."""
    from stockroom.tasks.put_back import promise as promised

    return recorded(promised(job.store(), job.act(), pull, booking))
