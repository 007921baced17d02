"""stockroom reorder …: what to order and why, orders that were placed, those overdue."""

from typing import Annotated

import typer

from stockroom.cli.files import written
from stockroom.cli.job import Answer, Job, looks, recorded, records
from stockroom.errors import Refused

group = typer.Typer(help="What to order and why; orders placed and overdue.", no_args_is_help=True)


def register(app: typer.Typer) -> None:
    """Adds the group."""
    app.add_typer(group, name="reorder")


Order = Annotated[str, typer.Argument(metavar="O-3", help="The order's number.")]
Why = Annotated[str, typer.Option("--why", metavar="TEXT", help="The reason, for the record.")]


@looks(group, "list")
def list_(
    job: Job,
    file: Annotated[
        str | None, typer.Option("--csv", metavar="FILE", help="Write what is proposed to a CSV file too.")
    ] = None,
) -> Answer:
    """What to order now, by supplier, each line with its reasons."""
    from stockroom.cli.reorder_show import draw_list
    from stockroom.pages.order_answers import list_answer, order_csv
    from stockroom.tasks.reorder import order_list

    plan = order_list(job.store(), job.as_of(), job.site)
    if file is not None:
        written(job, file, order_csv(plan))
    zone = job.zone()
    return Answer(list_answer(plan), plan.attention > 0, lambda screen: draw_list(screen, plan, zone, file))


@looks(group, "explain")
def explain(
    job: Job,
    product: Annotated[str, typer.Argument(metavar="PRODUCT", help="The product's code.")],
    out: Annotated[
        str | None, typer.Option("--out", metavar="FILE.svg", help="Draw how its stock will go into a file.")
    ] = None,
) -> Answer:
    """The whole sum for one product, and how its stock will go."""
    from stockroom.cli.reorder_papers import explain_command

    return explain_command(job, product, out)


@looks(group, "accuracy")
def accuracy(
    job: Job,
    what: Annotated[
        str | None, typer.Argument(metavar="[PRODUCT|PROCEDURE]", help="Only this procedure, or those that take it.")
    ] = None,
    weeks: Annotated[int, typer.Option("--weeks", metavar="N", help="Replay at most so many past weeks.")] = 52,
) -> Answer:
    """How good the forecasts were, and which one is used."""
    from stockroom.cli.accuracy_show import draw_accuracy
    from stockroom.pages.accuracy_answers import accuracy_answer
    from stockroom.tasks.accuracy import accuracy as replayed

    report = replayed(job.store(), job.as_of(), what, weeks, job.site)
    return Answer(accuracy_answer(report), False, lambda screen: draw_accuracy(screen, report))


@records(group, "place")
def place(
    job: Job,
    supplier: Annotated[str, typer.Argument(metavar="SUPPLIER", help="The supplier's name.")],
    wanted: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[PRODUCT=N]…",
            help="Exactly these pieces instead of what is proposed; PRODUCT=0 alone leaves one line out.",
        ),
    ] = None,
    packs: Annotated[bool, typer.Option("--packs", help="The numbers are packs, not pieces.")] = False,
    why: Annotated[str | None, typer.Option("--why", metavar="TEXT", help="Why it is not what is proposed.")] = None,
) -> Answer:
    """Record that it was ordered, as proposed or as given."""
    from stockroom.core.units import whole
    from stockroom.tasks.place_order import place as ordered
    from stockroom.tasks.place_order import told_apart

    lines = []
    for text in wanted or []:
        code, sign, number = text.partition("=")
        if not sign or not code.strip():
            raise Refused("bad-option", f'"{text}" is not PRODUCT=N', "write it like CODE=8")
        lines.append((code.strip(), whole(number, least=0)))
    act = job.act()
    if why is None and job.at_terminal:
        told = told_apart(job.store(), act, supplier, lines, packs=packs)
        why = (job.asked(f"This is {told}. Why? [no reason]") or None) if told else None
    return recorded(ordered(job.store(), act, supplier, lines, why, packs=packs))


@looks(group, "orders")
def orders(
    job: Job,
    order: Annotated[str | None, typer.Argument(metavar="[O-3]", help="All that is on record about this one.")] = None,
    every: Annotated[bool, typer.Option("--all", help="Those too of which nothing is to come any more.")] = False,
) -> Answer:
    """Orders of which something is still to come, and those overdue."""
    from stockroom.cli.order_show import draw_book
    from stockroom.pages.order_answers import orders_answer
    from stockroom.tasks.order_book import order_book

    as_of, zone = job.as_of(), job.zone()
    found = order_book(job.store(), as_of, site=job.site, every=every, named=order)
    data = orders_answer(as_of, found)
    in_short = every and order is None
    return Answer(
        data, data["attention"] > 0,
        lambda screen: draw_book(screen, found, zone, as_of, in_short=in_short, whole=order is not None),
    )  # fmt: skip


@records(group, "expect")
def expect(
    job: Job, order: Order, on: Annotated[str, typer.Option("--on", metavar="DAY", help="The day it is expected now.")]
) -> Answer:
    """Give an order another day."""
    from stockroom.core.when import day
    from stockroom.tasks.place_order import expect as expected

    return recorded(expected(job.store(), job.act(), order, day(on, job.zone(), job.now)))


@records(group, "cancel")
def cancel(job: Job, order: Order, why: Why) -> Answer:
    """Cancel what is still to come of an order."""
    from stockroom.tasks.place_order import end

    return recorded(end(job.store(), job.act(), order, why, cancel=True))


@records(group, "close")
def close(job: Job, order: Order, why: Why) -> Answer:
    """Close an order: what is still missing will not come."""
    from stockroom.tasks.place_order import end

    return recorded(end(job.store(), job.act(), order, why, cancel=False))


@looks(group, "sheet")
def sheet(
    job: Job,
    named: Annotated[str, typer.Argument(metavar="SUPPLIER|O-3", help="An order, or a supplier: what is proposed.")],
    out: Annotated[str, typer.Option("--out", metavar="FILE.html", help="The file to write.")],
) -> Answer:
    """The order for a supplier, to print."""
    from stockroom.cli.reorder_papers import sheet_command

    return sheet_command(job, named, out)


@looks(group, "rehearse")
def rehearse(
    job: Job,
    product: Annotated[str, typer.Argument(metavar="PRODUCT", help="The product's code.")],
    weeks: Annotated[int, typer.Option("--weeks", metavar="N", help="How many weeks ahead, 4 to 260.")] = 52,
    runs: Annotated[int, typer.Option("--runs", metavar="N", help="How often, 100 to 100000.")] = 2000,
    seed: Annotated[int, typer.Option("--seed", metavar="N", help="The same seed gives the same answer.")] = 1,
) -> Answer:
    """What each service target would cost in waste and shortage, played forward over your own demand."""
    from stockroom.cli.rehearse_show import draw_rehearsal
    from stockroom.pages.rehearsal_answer import rehearsal_answer
    from stockroom.tasks.rehearse import rehearse as rehearsed

    found = rehearsed(
        job.store(), job.as_of(), product, job.site, weeks=weeks, runs=runs, seed=seed, advance=job.advance
    )
    return Answer(rehearsal_answer(found), False, lambda screen: draw_rehearsal(screen, found))
