"""Making the database, and the practice's own rules: load, show, closed days and open ones."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any

from stockroom.core.changes import changes
from stockroom.core.opening import DayException
from stockroom.core.units import count, few
from stockroom.core.when import day_text
from stockroom.errors import Refused
from stockroom.formats.practice_file import decode_practice, read_practice
from stockroom.store import Link, ledger, practices
from stockroom.store.engine import Store, opened
from stockroom.store.writing import entered
from stockroom.tasks.act import Act, Recorded, Recording, every_fridge, recording
from stockroom.tasks.diary import diary
from stockroom.tasks.rules import rules, text_in_force
from stockroom.tasks.shelves import lots_now


def checked_practice(data: bytes, name: str) -> tuple[str, tuple[str, ...], str]:
    """(text, findings, time zone) of a practice file. Raises: Refused."""
    text = decode_practice(data, name)
    practice = read_practice(text, name)
    return text, practice.findings, practice.timezone


def init(where: str, act: Act, data: bytes, name: str) -> tuple[Store, Recorded]:
    """A new database with the practice file in it; it holds from the beginning.

    Raises: Refused for a bad file (nothing is made), DatabaseError where a database is there already.
    """
    from stockroom.core.records import Finding
    from stockroom.store import migrate

    text, found, _ = checked_practice(data, name)
    practice = read_practice(text, name)
    what = f"began with {practice.name}"

    def fill(conn: Link) -> None:
        with entered(conn, where, "init", by=act.by, at=act.at, now=act.now) as book:
            practices.loaded(book, text, None)
            book.what = what

    store = migrate.create(where, fill)
    findings = tuple(Finding("practice-file", f, urgent=False) for f in found)
    fields = {
        "database": store.name,
        "practice": practice.name,
        "fridges": [f.name for f in practice.fridges],
        "shelves": [s.name for s in practice.shelves],
        "products": [p.code for p in practice.products],
        "procedures": [p.code for p in practice.procedures],
    }
    return store, Recorded("R-1", what, findings, fields)


@dataclass(frozen=True, slots=True)
class Loading:
    """What a changed practice file would change."""

    text: str
    changes: tuple[str, ...]
    findings: tuple[str, ...]


def bring_up(where: str, stamp: str, advance: Callable[[str, int, int], None]) -> dict[str, Any]:
    """Brings an older database to this program's revision, after a copy, and computes what newer revisions keep.

    Returns ``{"from", "to", "copy"}``. Raises: DatabaseError.
    """
    from stockroom.store.migrate import upgrade
    from stockroom.tasks.rebuild import missing, rebuilt

    result = upgrade(where, stamp)
    store = opened(where)
    with store.reading() as conn:
        unfinished = missing(conn)
    if result["from"] != result["to"] or unfinished:
        rebuilt(store, advance)
    return result


def compared(conn: Link, data: bytes, name: str, at: int) -> Loading:
    """What loading a file would change against the one in force. Raises: Refused for a bad file."""
    text = decode_practice(data, name)
    new = read_practice(text, name)
    old = read_practice(text_in_force(conn, at), "the practice file on record")
    return Loading(text, tuple(changes(old, new)), new.findings)


def load(store: Store, act: Act, loading: Loading, why: str | None = None) -> Recorded:
    """Records a changed practice file, which holds from the act's instant; spans before it keep their own rules."""
    with recording(store, act, "practice") as rec:
        practices.loaded(rec.book, loading.text, act.at)
        rec.book.what = "practice file: " + ("; ".join(loading.changes) or "only its text changed")
        rec.book.what += "" if why is None else f": {why}"
        rec.fields |= {"changes": list(loading.changes)}
        for text in loading.findings:
            rec.note("practice-file", text)
        rec.rules = rules(rec.conn, act.at)
        _stranded(rec)
        every_fridge(rec)
    return rec.done()


def _stranded(rec: Recording) -> None:
    """Says what is on record that the new file does not know: stock of a product, in a place, bookings."""
    practice = rec.rules.practice
    lost: dict[str, int] = {}
    for now in lots_now(rec.conn).values():
        for parcel in now.state.inside():
            if practice.product(now.lot.product) is None:
                lost[f"product {now.lot.product}"] = lost.get(f"product {now.lot.product}", 0) + parcel.quantity
            elif practice.site_of(parcel.place) is None and ledger.place_kinds(rec.conn).get(parcel.place) in (
                "fridge",
                "shelf",
            ):
                lost[parcel.place] = lost.get(parcel.place, 0) + parcel.quantity
    for what, n in sorted(lost.items()):
        rec.note(
            "stranded", f"{count(n, 'piece')} on hand: the file has no {what} any more",
            "move or discard them, or name it in the file again", urgent=True,
        )  # fmt: skip
    coming = diary(rec.conn, rec.rules, standing=True).values()
    gone = [b for b in coming if practice.procedure(b.procedure) is None]
    if gone:
        listed = few([f"B-{b.number} ({b.procedure})" for b in gone])
        rec.note(
            "stranded",
            f"booked for a procedure that the file has no more: {listed}",
            "cancel them, or name it again",
            urgent=True,
        )


def except_day(
    store: Store, act: Act, day: date, opens: bool, hours: tuple[int, int] | None, why: str
) -> tuple[Recorded, tuple[int, ...]]:
    """Nobody in on a day or part of it, or somebody after all; also says which bookings that broke.

    Returns the record and the numbers of the bookings on that day that now lie outside staffed time, or whose kit
    cannot be taken out in time any more. Raises: Refused.
    """
    from stockroom.tasks.warm_plan import needing_help

    with recording(store, act, "closed" if not opens else "open") as rec:
        site = rec.rules.site(act.site)
        start, end = hours or (0, 1440)
        if start >= end:
            raise Refused("bad-hours", "the end lies before the beginning", "give --from and --to like 13:00 and 17:00")
        if opens and hours is None and not rec.rules.openings[site].usual(day):
            raise Refused("which-hours", f"{day_text(day)} has no usual hours", "give --from and --to")
        exception = DayException(day, opens, start, end, why)
        if opens and hours is None:
            _reopened(rec, site, day, why)
        else:
            practices.day_excepted(rec.book, site, exception)
        before = needing_help(rec.conn, rec.rules, act.at, [site])
        rec.rules = rules(rec.conn, act.at)
        after = needing_help(rec.conn, rec.rules, act.at, [site])
        broken = tuple(sorted(n for n, what in after.items() if before.get(n) != what))
        rec.book.what = f"{day_text(day)} {'open' if opens else 'closed'}" + (f": {why}" if why else "")
        rec.fields |= {"day": day.isoformat(), "open": opens, "broken": [f"B-{n}" for n in broken]}
        for number in broken:
            rec.note(
                "broken-plan",
                f"B-{number}: {after[number]}",
                f"stockroom booking move B-{number} --start WHEN",
                urgent=True,
            )
    return rec.done(), broken


def _reopened(rec: Recording, site: str, day: date, why: str) -> None:
    """Open after all, at the usual hours of that weekday."""
    for start, end in rec.rules.openings[site].usual(day):
        practices.day_excepted(rec.book, site, DayException(day, True, start, end, why))
