"""stockroom trace …: where a lot came from and went, what a booking used."""

from typing import Annotated

import typer

from stockroom.cli.job import Answer, Job, looks

group = typer.Typer(
    help="Where a lot came from and went; what an excursion touched, a booking used.", no_args_is_help=True
)


def register(app: typer.Typer) -> None:
    """Adds the group."""
    app.add_typer(group, name="trace")


@looks(group, "lot")
def lot(
    job: Job,
    product: Annotated[str, typer.Argument(metavar="PRODUCT", help="The product's code, or a kit's label: P-5.")],
    code: Annotated[str | None, typer.Argument(metavar="[LOT]", help="The lot as printed; capitals count.")] = None,
) -> Answer:
    """Follow every piece of a lot, what it was exposed to, and which bookings it reached."""
    from stockroom.cli.trace_show import draw_lot
    from stockroom.pages.answers import lot_trace_answer
    from stockroom.tasks.trace import trace_lot

    found = trace_lot(job.store(), product, code, job.as_of())
    zone = job.zone()
    attention = bool(found.difference or found.unaccounted)
    return Answer(lot_trace_answer(found), attention, lambda screen: draw_lot(screen, found, zone, job.now))


@looks(group, "excursion")
def excursion(job: Job, number: Annotated[str, typer.Argument(metavar="E-1", help="Its number.")]) -> Answer:
    """From a fault of a fridge to the lots that it touched, and the bookings that they reached."""
    from stockroom.cli.trace_show import draw_excursion
    from stockroom.pages.answers import excursion_trace_answer
    from stockroom.tasks.trace import trace_excursion

    found = trace_excursion(job.store(), number, job.as_of())
    zone = job.zone()
    attention = found.excursion.open or any(p.held for p in found.pieces)
    return Answer(excursion_trace_answer(found), attention, lambda screen: draw_excursion(screen, found, zone, job.now))


@looks(group, "booking")
def booking(
    job: Job, number: Annotated[str, typer.Argument(metavar="B-7", help="Its number or outside id.")]
) -> Answer:
    """What a booking used, by lot and kit, and the rules that this broke."""
    from stockroom.cli.trace_show import draw_booking
    from stockroom.pages.answers import booking_trace_answer
    from stockroom.tasks.trace import trace_booking

    found = trace_booking(job.store(), number, job.as_of())
    zone = job.zone()
    return Answer(
        booking_trace_answer(found), bool(found.breaches), lambda screen: draw_booking(screen, found, zone, job.now)
    )
