"""stockroom stock receive by barcode: one box on the command line, or scan after scan."""

import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from stockroom.cli.job import Answer, Job, recorded
from stockroom.cli.scan_desk import desk, say
from stockroom.core.records import Finding
from stockroom.core.units import count
from stockroom.core.when import day_text
from stockroom.errors import Refused
from stockroom.formats.scan import one_box, scanned
from stockroom.tasks.read_scan import Box, box
from stockroom.tasks.receive import Delivery, Told, receive_all
from stockroom.tasks.scan_run import LeftOut, Run
from stockroom.tasks.tie_code import Tie, remember

if TYPE_CHECKING:
    from stockroom.cli.show import Screen
    from stockroom.tasks.act import Recording

LISTED = 5
"""So many scans that do not count are named one by one on the record."""


def receive_scanned(job: Job, codes: list[str], told: Told, rest: Delivery) -> Answer:
    """One box by its barcode, or by all barcodes that it has. ``rest``: what else was said of the delivery."""
    here = desk(job, rest.into)
    scan = one_box([scanned(code, here.today) for code in codes])
    found = box(scan, here.answered(scan, told), here.practice, here.known)
    order = rest.order or here.orders([found.product], rest).get(found.product)
    delivery = replace(
        rest, product=found.product, lot=found.lot, expiry=found.expiry, quantity=found.pieces, order=order
    )
    return recorded(receive_all(job.store(), here.act, [delivery], _beginning(here.tied, found.findings), one=True))


def receive_run(job: Job, rest: Delivery) -> Answer:
    """Scan after scan, from a hand scanner at the terminal or from a file; all recorded at the end, as one entry."""
    mend = getattr(sys.stdin, "reconfigure", None)
    if mend is not None:
        # What is no text is a wrong scan like any other; it has to be said before the first line is read.
        mend(errors="replace")
    here = desk(job, rest.into)
    run = Run(here.practice, here.known, here.today, lambda scan: here.answered(scan, Told()))
    if job.at_terminal:
        say("Scan box after box. Enter ends, - takes the last scan back, Ctrl-C drops all.")
    _scans(job, run)
    if not run.pieces:
        why = f": {run.left_out[0].why}" if run.left_out else ""
        raise Refused("nothing-scanned", f"no scan counts, nothing was recorded{why}", "scan the boxes again")
    orders = here.orders([product for product, _, _ in run.pieces], rest)
    deliveries = [
        replace(rest, product=product, lot=lot, expiry=expiry, quantity=n, order=rest.order or orders.get(product))
        for (product, lot, expiry), n in run.pieces.items()
    ]
    tied = [t for t in here.tied if t.product in {product for product, _, _ in run.pieces}]
    odd = [
        replace(f, what=f"{product} lot {lot}: {f.what}")
        for (product, lot, _), found in run.findings.items()
        for f in found
    ]
    if not job.at_terminal:  # who sits there has seen it, and has scanned that box again or not
        odd += _left_out(run.left_out)
    result = receive_all(job.store(), here.act, deliveries, _beginning(tied, odd), one=False)
    return recorded(result, None if job.at_terminal else lambda screen: _draw(screen, run))


def _beginning(tied: list[Tie], findings: Sequence[Finding]) -> "Callable[[Recording], None]":
    """What an entry by barcode begins with: what barcodes stand for from now on, and what is odd about them."""

    def first(rec: "Recording") -> None:
        for tie in tied:
            rec.note("tied", f"remembered: {remember(rec, tie)}")
        rec.findings += findings

    return first


def _left_out(scans: list[LeftOut]) -> list[Finding]:
    if not scans:
        return []
    listed = "; ".join(f'"{x.text[:40]}{"…" if len(x.text) > 40 else ""}": {x.why}' for x in scans[:LISTED])
    more = f"; and {len(scans) - LISTED} more" if len(scans) > LISTED else ""
    what = f"{count(len(scans), 'scan')} left out: {listed}{more}"
    return [Finding("scan-left-out", what, "scan these boxes again, or type them in", urgent=True)]


def _scans(job: Job, run: Run) -> None:
    """Reads scans until an empty line or the end of input.

    At a terminal the first empty line shows all, the next one ends: a scanner that types two line ends after each code
    ends nothing by itself.
    """
    shown = False
    lines = _lines(job)
    for text in lines:
        if text.strip():
            shown = False
            _one_scan(job, run, text)
        elif run.waiting:
            _tell(job, run, run.give_up_waiting)
        elif job.at_terminal and run.pieces and not shown:
            shown = True
            _show(run)
        else:
            break
    if run.waiting:
        _tell(job, run, run.give_up_waiting)
    if not job.at_terminal and (rest := [text for text in lines if text.strip()]):
        run.left_out.append(
            LeftOut(rest[0], f"{count(len(rest), 'line')} after an empty line", "leave empty lines out")
        )


def _lines(job: Job) -> Iterator[str]:
    """What is typed, line by line, as it comes."""
    while sys.stdin is not None:
        if job.at_terminal:
            sys.stderr.write("scan: ")
            sys.stderr.flush()
        line = sys.stdin.readline()
        if not line:
            return
        yield line.rstrip("\r\n")


def _one_scan(job: Job, run: Run, text: str) -> None:
    if text.strip() != "-":
        _tell(job, run, lambda: run.scan(text))
        return
    was = run.back()
    say("  nothing to take back" if was is None else f"  taken back: {was}")


def _tell(job: Job, run: Run, step: Callable[[], Box | None]) -> None:
    """Takes a step and says what became of it; to a script that wants JSON only what is left out."""
    before = len(run.left_out)
    found = step()
    for left in run.left_out[before:]:
        say(f"left out: {left.why}", "! ")
        say(left.todo, "  -> ")
    if job.json:
        return
    if found is not None:
        so_far = run.pieces[found.product, found.lot, found.expiry]
        say(f"  {found.pieces} x {found.product} lot {found.lot}, expires {day_text(found.expiry)}: {so_far} so far")
        if so_far == found.pieces:
            for odd in found.findings:
                say(odd.what, "    ")
    elif run.waiting and len(run.left_out) == before:
        say("  not the whole box yet: scan its other barcode" + (", or Enter" if job.at_terminal else ""))


def _show(run: Run) -> None:
    """The whole delivery, before it is recorded."""
    for (product, lot, expiry), n in run.pieces.items():
        say(f"  {n:>4} x {product} lot {lot}, expires {day_text(expiry)}")
    left = f", {count(len(run.left_out), 'scan')} left out" if run.left_out else ""
    say(f"  {sum(run.pieces.values()):>4} in all{left}. Enter again records it; or scan on.")


def _draw(screen: "Screen", run: Run) -> None:
    rows = [[product, lot, expiry.isoformat(), str(n)] for (product, lot, expiry), n in run.pieces.items()]
    screen.table(["product", "lot", "expiry", "pieces"], rows, right=(3,))
