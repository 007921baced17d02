"""stockroom stock …: deliveries, what is on hand, moves, use, the stocktake, quarantine and its decisions."""

import sys
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated

import typer

from stockroom.cli import codes
from stockroom.cli.files import file_bytes
from stockroom.cli.job import Answer, Job, looks, recorded, records
from stockroom.errors import Refused, UsageError

if TYPE_CHECKING:
    from stockroom.tasks.count_stock import Counted
    from stockroom.tasks.receive import Delivery, Told

group = typer.Typer(help="Deliveries, what is on hand, use, stocktake, quarantine.", no_args_is_help=True)


def register(app: typer.Typer) -> None:
    """Adds the group."""
    codes.register(group)
    app.add_typer(group, name="stock")


Product = Annotated[str, typer.Argument(metavar="PRODUCT", help="The product's code.")]
Lot = Annotated[str, typer.Argument(metavar="LOT", help="The lot as printed; capitals count.")]
Quantity = Annotated[str, typer.Option("--quantity", metavar="N", help="Single pieces, never packs.")]
Some = Annotated[str | None, typer.Option("--quantity", metavar="N", help="Only so many pieces.")]
Why = Annotated[str, typer.Option("--why", metavar="TEXT", help="The reason, for the record.")]
Where = Annotated[str | None, typer.Option("--place", metavar="PLACE", help="Only what stands there.")]
OutKit = Annotated[str | None, typer.Option("--pull", metavar="P-5", help="A kit that is out of the fridge.")]


def number(text: str | None) -> int | None:
    """A quantity as typed. Raises: Refused."""
    from stockroom.core.units import whole

    return None if text is None else whole(text)


@records(group, "receive")
def receive(
    job: Job,
    into: Annotated[str, typer.Option("--into", metavar="PLACE", help="The fridge or shelf it went into.")],
    product: Annotated[str | None, typer.Argument(metavar="[PRODUCT]", help="The product's code.")] = None,
    lot: Annotated[str | None, typer.Option("--lot", metavar="LOT", help="The lot as printed; capitals count.")] = None,
    expiry: Annotated[
        str | None, typer.Option("--expiry", metavar="DAY", help="2027-01-31, or 2027-01 for its last day.")
    ] = None,
    scan: Annotated[
        list[str] | None,
        typer.Option("--scan", metavar="CODE", help="The box's barcode instead; again for its other one."),
    ] = None,
    scan_many: Annotated[bool, typer.Option("--scan-many", help="Scan after scan; an empty line ends.")] = False,
    quantity: Some = None,
    packs: Annotated[str | None, typer.Option("--packs", metavar="N", help="Packs instead of pieces.")] = None,
    arrived_at: Annotated[str | None, typer.Option("--arrived-at", metavar="CELSIUS", help="How warm it came.")] = None,
    order: Annotated[str | None, typer.Option("--order", metavar="O-3", help="The order it belongs to.")] = None,
    lender: Annotated[str | None, typer.Option("--from", metavar="LENDER", help="Borrowed from whom.")] = None,
    damaged: Annotated[str, typer.Option("--damaged", metavar="N", help="How many of them came broken.")] = "0",
) -> Answer:
    """Take a delivery in: typed, by a barcode, or scan after scan. Say pieces with --quantity or packs with --packs."""
    from datetime import date

    from stockroom.core.units import milli_celsius, whole
    from stockroom.formats.stock_csv import expiry_day
    from stockroom.tasks.receive import Delivery, Told

    told = Told(product, lot, None if expiry is None else expiry_day(expiry), number(quantity), number(packs))
    warm = None if arrived_at is None else milli_celsius(arrived_at)
    # Product, lot and expiry are filled in by what was typed, or by the barcodes.
    rest = Delivery("", "", date.max, into, None, None, warm, order, lender, whole(damaged, least=0))
    if scan_many:
        if scan or told != Told() or rest.damaged:
            raise UsageError(
                "either-or", "--scan-many takes all of that from the barcodes",
                "only --into, --arrived-at, --order, --from go with it",
            )  # fmt: skip
        from stockroom.cli.scan_in import receive_run

        return receive_run(job, rest)
    if scan:
        from stockroom.cli.scan_in import receive_scanned

        return receive_scanned(job, scan, told, rest)
    return _receive_typed(job, told, rest)


def _receive_typed(job: Job, told: "Told", rest: "Delivery") -> Answer:
    """A delivery of which everything was typed."""
    from stockroom.tasks.receive import receive as take_in

    if told.product is None or told.lot is None or told.expiry is None:
        needed = (
            ("argument 'PRODUCT'", told.product),
            ("option '--lot'", told.lot),
            ("option '--expiry'", told.expiry),
        )
        missing = next(name for name, given in needed if given is None)
        raise UsageError(
            "incomplete", f"Missing {missing}", "see: stockroom stock receive --help; or give the barcode: --scan CODE"
        )
    delivery = replace(
        rest, product=told.product, lot=told.lot, expiry=told.expiry, quantity=told.quantity, packs=told.packs
    )
    act = job.act()
    if delivery.order is None and delivery.lender is None and job.at_terminal:
        from stockroom.tasks.against_order import order_it_fits

        fits = order_it_fits(job.store(), act.at, told.product, delivery.into)
        if fits is not None and job.ask(f"{told.product} is still to come of {fits}. Is this delivery of it?"):
            delivery = replace(delivery, order=fits)
    return recorded(take_in(job.store(), act, delivery))


@records(group, "opening")
def opening(
    job: Job, file: Annotated[str, typer.Argument(metavar="FILE.csv", help="product,lot,expiry,quantity,place")]
) -> Answer:
    """Record what is on the shelves on the first day."""
    from stockroom.tasks.receive import opening as first_day

    name, data = file_bytes(file)
    return recorded(first_day(job.store(), job.act(), data, name))


@looks(group, "list")
def list_(
    job: Job, product: Annotated[str | None, typer.Option("--product", metavar="P", help="Only this product.")] = None
) -> Answer:
    """What is on hand by lot, earliest expiry first."""
    from stockroom.cli.stock_show import draw_stock
    from stockroom.pages.stock_answers import stock_answer
    from stockroom.tasks.list_stock import list_stock

    report = list_stock(job.store(), job.as_of(), product=product, site=job.site)
    zone = job.zone()
    return Answer(stock_answer(report), report.attention > 0, lambda screen: draw_stock(screen, report, zone))


@looks(group, "expiring")
def expiring(
    job: Job, within: Annotated[str, typer.Option("--within", metavar="DAYS", help="How far to look ahead.")] = "60"
) -> Answer:
    """What will expire, and how many of those will not be used in time."""
    from stockroom.cli.stock_show import draw_expiring
    from stockroom.core.units import whole
    from stockroom.pages.stock_answers import expiring_answer
    from stockroom.tasks.expiring import expiring_stock

    report = expiring_stock(job.store(), job.as_of(), whole(within, "number of days", least=0), site=job.site)
    return Answer(expiring_answer(report), report.attention > 0, lambda screen: draw_expiring(screen, report))


@records(group, "use")
def use(
    job: Job,
    product: Product,
    quantity: Annotated[str, typer.Argument(metavar="N", help="How many pieces.")],
    why: Why,
    lot: Annotated[
        str | None, typer.Option("--lot", metavar="LOT", help="This lot instead of the first to expire.")
    ] = None,
) -> Answer:
    """Record use outside a booking: training, dropped, a walk-in."""
    from stockroom.core.units import whole
    from stockroom.tasks.move_stock import use as use_up

    return recorded(use_up(job.store(), job.act(), product, whole(quantity), why, lot))


@records(group, "return")
def return_(job: Job, product: Product, lot: Lot, quantity: Quantity, why: Why, place: Where = None) -> Answer:
    """Send pieces back to the supplier or a lender."""
    from stockroom.core.units import whole
    from stockroom.tasks.move_stock import give_back

    return recorded(give_back(job.store(), job.act(), product, lot, whole(quantity), why, place))


@records(group, "move")
def move(
    job: Job,
    source: Annotated[str, typer.Option("--from", metavar="PLACE", help="Where it stands.")],
    target: Annotated[str, typer.Option("--to", metavar="PLACE", help="Where it goes: a fridge, a shelf, or any box.")],
    product: Annotated[str | None, typer.Argument(metavar="[PRODUCT]", help="The product's code.")] = None,
    lot: Annotated[str | None, typer.Argument(metavar="[LOT]", help="The lot as printed; capitals count.")] = None,
    quantity: Some = None,
    everything: Annotated[bool, typer.Option("--all", help="All that stands there: empties a failed fridge.")] = False,
) -> Answer:
    """Move pieces from one place to another; --all empties a place."""
    from stockroom.tasks import move_stock

    if everything:
        if product or lot or quantity:
            raise Refused("all-or-some", "--all moves everything", "leave out product, lot and quantity")
        return recorded(move_stock.move_all(job.store(), job.act(), source, target))
    n = number(quantity)
    if not product or not lot or n is None:
        raise Refused("what-to-move", "say what to move", "PRODUCT LOT --quantity N, or --all")
    return recorded(move_stock.move(job.store(), job.act(), product, lot, n, source, target))


@records(group, "count")
def count(
    job: Job,
    place: Annotated[str, typer.Argument(metavar="PLACE", help="The fridge or shelf that was counted.")],
    file: Annotated[str | None, typer.Argument(metavar="[FILE.csv]", help="product,lot,quantity")] = None,
    why: Annotated[str, typer.Option("--why", metavar="TEXT", help="Why a difference came about.")] = "stocktake",
) -> Answer:
    """Count a place against the record; at a terminal it asks lot by lot."""
    from stockroom.tasks.count_stock import counted_from, stocktake

    act = job.act()
    if file is not None:
        name, data = file_bytes(file)
        return recorded(stocktake(job.store(), act, place, counted_from(data, name), why))
    if not job.at_terminal:
        raise Refused("what-was-counted", "nobody is there to ask", "give a file with product,lot,quantity")
    from stockroom.tasks.places import place_named

    spot = place_named(job.rules().practice, place)
    return recorded(stocktake(job.store(), act, spot, _asked(job, spot, act.at), why))


def _asked(job: Job, place: str, at: int) -> "list[Counted]":
    from stockroom.core.units import whole
    from stockroom.tasks.count_stock import Counted, recorded_in

    lines = []
    for product, lot, n in recorded_in(job.store(), place, at):
        said = job.asked(f"{product} lot {lot}: how many are there? [{n}]")
        lines.append(Counted(product, lot, n if not said else whole(said, least=0)))
    sys.stderr.write("Anything else that is there? PRODUCT LOT NUMBER, or Enter.\n")
    while said := job.asked(">"):
        words = said.split()
        if len(words) != 3:
            sys.stderr.write("  type it like: CODE LOT 3\n")
            continue
        lines.append(Counted(words[0], words[1], whole(words[2], least=0)))
    return lines


@records(group, "quarantine")
def quarantine(
    job: Job, product: Product, lot: Lot, why: Why, place: Where = None, pull: OutKit = None, quantity: Some = None
) -> Answer:
    """Say that pieces may not be used until somebody decides."""
    from stockroom.tasks import hold_stock

    return recorded(hold_stock.quarantine(job.store(), job.act(), product, lot, why, pull or place, number(quantity)))


@records(group, "release")
def release(
    job: Job,
    product: Product,
    lot: Lot,
    why: Why,
    answer: Annotated[
        str | None, typer.Option("--answer", metavar="TEXT", help="What the maker or clinician answered.")
    ] = None,
    excursion: Annotated[str | None, typer.Option("--excursion", metavar="E-3", help="From this one only.")] = None,
    place: Where = None,
    pull: OutKit = None,
    quantity: Some = None,
) -> Answer:
    """Decide, under your own initials, that held pieces are free again."""
    from stockroom.tasks import hold_stock

    result = hold_stock.release(
        job.store(), job.act(), product, lot, why, answer=answer, excursion=excursion, place=pull or place,
        quantity=number(quantity),
    )  # fmt: skip
    return recorded(result)


@records(group, "discard")
def discard(
    job: Job,
    why: Why,
    product: Annotated[str | None, typer.Argument(metavar="[PRODUCT]", help="The product's code.")] = None,
    lot: Annotated[str | None, typer.Argument(metavar="[LOT]", help="The lot as printed; capitals count.")] = None,
    quantity: Some = None,
    place: Where = None,
    pull: OutKit = None,
    answer: Annotated[
        str | None, typer.Option("--answer", metavar="TEXT", help="What the maker or clinician answered.")
    ] = None,
) -> Answer:
    """Decide, under your own initials, to throw pieces away; a kit that is out with --pull."""
    from stockroom.tasks import hold_stock

    result = hold_stock.discard(
        job.store(), job.act(), product, lot, number(quantity), why, place=place, pull=pull, answer=answer
    )
    return recorded(result)
