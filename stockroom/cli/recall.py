"""stockroom recall: a maker's notice, all that it means, and the sheet for it."""

from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from stockroom.cli.files import written
from stockroom.cli.job import Answer, AsOf, Job, records
from stockroom.errors import Refused, UsageError

if TYPE_CHECKING:
    from stockroom.cli.show import Screen
    from stockroom.core.notice import Notice


def register(app: typer.Typer) -> None:
    """Adds the command."""

    @records(app, "recall")
    def recall(
        job: Job,
        product: Annotated[str, typer.Argument(metavar="PRODUCT", help="The product's code.")],
        lots: Annotated[
            list[str] | None, typer.Argument(metavar="[LOT]…", help="Lots as printed; capitals and length count.")
        ] = None,
        first: Annotated[str | None, typer.Option("--from", metavar="LOT", help="The first lot of a range.")] = None,
        last: Annotated[str | None, typer.Option("--to", metavar="LOT", help="The last lot of a range.")] = None,
        expiry_from: Annotated[
            str | None, typer.Option("--expiry-from", metavar="DAY", help="Lots that expire on this day or later.")
        ] = None,
        expiry_to: Annotated[
            str | None, typer.Option("--expiry-to", metavar="DAY", help="Lots that expire on this day or earlier.")
        ] = None,
        all_lots: Annotated[bool, typer.Option("--all", help="Every lot of the product.")] = False,
        notice: Annotated[str | None, typer.Option("--notice", metavar="TEXT", help="The maker's notice.")] = None,
        hold: Annotated[bool, typer.Option("--hold", help="Put all that is here into quarantine at once.")] = False,
        out: Annotated[str | None, typer.Option("--out", metavar="FILE.html", help="Write the sheet to print.")] = None,
        as_of: AsOf = None,
    ) -> Answer:
        """Find every piece of the lots that a maker's notice names; --hold puts it into quarantine."""
        from stockroom.core.notice import Notice

        job.as_of_text = as_of
        if hold and as_of is not None:
            raise UsageError("either-or", "--hold records something, --as-of only looks", "leave one out")
        named = (lots, first, last, expiry_from, expiry_to)
        if not any(named) and not all_lots:
            raise Refused(
                "which-lots", "the notice names no lots", "give LOT…, --from and --to, --expiry-from, --expiry-to, or --all"
            )  # fmt: skip
        if any(named) and all_lots:
            raise UsageError("either-or", "--all means every lot, others are named too", "leave one out")
        wanted = Notice(product, tuple(lots or ()), first, last, _day(expiry_from), _day(expiry_to), notice)
        return _answer(job, wanted, hold, out)


def _answer(job: Job, notice: "Notice", hold: bool, out: str | None) -> Answer:
    from stockroom.cli.recall_show import draw_recall
    from stockroom.pages.recall_page import recall_answer, recall_html
    from stockroom.tasks.recall import recall, recall_and_hold

    recorded, zone = None, job.zone()
    if hold:
        recorded, found = recall_and_hold(job.store(), job.act(), notice)
    else:
        found = recall(job.store(), notice, job.as_of(), job.site)
    if out is not None:
        written(job, out, recall_html(found, zone))

    def draw(screen: "Screen") -> None:
        if recorded is not None:
            screen.recorded(recorded)
        draw_recall(screen, found, zone, out)

    attention = found.attention or (recorded is not None and recorded.attention)
    return Answer(recall_answer(found, recorded, out), attention, draw)


def _day(text: str | None) -> date | None:
    from stockroom.formats.stock_csv import expiry_day

    return None if text is None else expiry_day(text)
