"""stockroom stock code and stock codes: what a barcode stands for."""

from typing import TYPE_CHECKING, Annotated

import typer

from stockroom.cli.job import Answer, Job, looks, recorded, records

if TYPE_CHECKING:
    from stockroom.cli.show import Screen
    from stockroom.tasks.tie_code import Tie


def register(group: typer.Typer) -> None:
    """Adds the two commands to the group."""

    @records(group, "code")
    def code(
        job: Job,
        code: Annotated[str, typer.Argument(metavar="CODE", help="The barcode as scanned, or its item's number.")],
        product: Annotated[str, typer.Argument(metavar="PRODUCT", help="The product's code.")],
        units: Annotated[str | None, typer.Option("--units", metavar="N", help="Pieces that it stands for.")] = None,
    ) -> Answer:
        """Say which product a barcode is, and how many pieces it stands for; remembered for every delivery."""
        from stockroom.core.units import whole
        from stockroom.tasks.tie_code import tie_code

        pieces = None if units is None else whole(units)
        return recorded(tie_code(job.store(), job.act(), code, product, pieces))

    @looks(group, "codes")
    def codes(
        job: Job,
        product: Annotated[str | None, typer.Option("--product", metavar="P", help="Only this product.")] = None,
    ) -> Answer:
        """What every known barcode stands for."""
        from stockroom.pages.values import instant
        from stockroom.tasks.places import product_named
        from stockroom.tasks.rules import rules
        from stockroom.tasks.tie_code import ties

        at = job.as_of()
        with job.store().reading() as conn:
            practice = rules(conn, at).practice
            only = None if product is None else product_named(practice, product).code
            known = ties(conn, practice, at).values()
        found = sorted((t for t in known if only in (None, t.product)), key=lambda t: (t.product, t.units, t.code))
        data = [{"code": t.code, "product": t.product, "units": t.units, "listed": t.listed} for t in found]
        return Answer({"as_of": instant(at), "codes": data}, False, lambda screen: _draw(screen, found))


def _draw(screen: "Screen", found: "list[Tie]") -> None:
    if not found:
        screen.line("No barcode is known yet.")
        screen.todo("stockroom stock code CODE PRODUCT --units N")
        return
    rows = [[t.code, t.product, str(t.units), "practice file" if t.listed else "stock code"] for t in found]
    screen.table(["barcode", "product", "pieces", "said by"], rows, right=(2,))
