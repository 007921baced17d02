"""Takes back an entry, whole, by a new one; and the history of all entries."""

from dataclasses import replace

from stockroom.core.stock import FOREVER
from stockroom.core.units import count
from stockroom.errors import Refused
from stockroom.store import Link, derived, entries, ledger
from stockroom.store.engine import Store
from stockroom.store.entries import EntryRow
from stockroom.tasks.act import Act, Recorded, every_fridge, may_decide, recording
from stockroom.tasks.broken_plan import sites_of, telling_broken
from stockroom.tasks.places import number_of
from stockroom.tasks.rules import rules
from stockroom.tasks.shelves import lots_now

DECISIONS = ("quarantine", "release", "decide", "discard")
"""To take one of these back is a decision too: it frees or binds stock."""


def undo(store: Store, act: Act, text: str | None, why: str) -> Recorded:
    """Reverses the last thing this person recorded, or the entry named. Both stay in the history.

    The reversed entry counts as if it had never been, at every instant. What it had put into quarantine stays there
    until a person decides. Raises: Refused where there is nothing to take back, or later records build on it.
    """
    with recording(store, act, "undo") as rec:
        target = _target(rec.conn, text, act.by)
        dependent = entries.later_on_numbers(rec.conn, target.n)
        if dependent:
            raise Refused("built-upon", f"R-{target.n} cannot go: {dependent}", "take that back first")
        places = ledger.place_names(rec.conn)
        lots = lots_now(rec.conn)
        before = {x.lot.key: x.state.unaccounted for x in lots.values()}
        meant = [lots[key] for key in entries.touched_lots(rec.conn, target.n) if key in lots]
        stand = {p.place for x in meant for p in x.state.inside()}
        touched = entries.touched_fridges(rec.conn, target.n)
        if target.kind in DECISIONS:
            may_decide(replace(act, by_typed=True), rec.rules)
        with telling_broken(rec, {x.lot.product for x in meant}, sites_of(rec, stand)) as broken:
            entries.reverse(rec.book, target.n, why)
        for key in entries.fridges_read(rec.conn, target.n):
            derived.forget(rec.conn, key)
        rec.rules = rules(rec.conn, act.at)
        if target.kind == "practice":
            every_fridge(rec)
        # What readings and checks told reaches back: without them excursions that were over before are others.
        since = -FOREVER if target.kind in ("import", "check") else min(target.at, act.at)
        for key in touched:
            rec.touches(places[key], since)
        for key in entries.touched_lots(rec.conn, target.n):
            now = lots_now(rec.conn, only=[key]).get(key)
            if now is not None and now.state.unaccounted > before.get(key, 0):
                rec.note(
                    "unaccounted",
                    f"{now.lot.product} lot {now.lot.code}: {count(now.state.unaccounted, 'piece')} now unaccounted for",
                    "count the place: stockroom stock count PLACE",
                    urgent=True,
                )
        rec.book.what = f"took back R-{target.n} ({target.what}): {why}"
        rec.fields |= {"reverses": f"R-{target.n}", "reversed": target.what, "why": why, "broken": broken}
    return rec.done()


def _target(conn: Link, text: str | None, by: str) -> EntryRow:
    if text is None:
        mine = [e for e in entries.entries(conn, by=by) if e.kind not in ("undo", "init") and e.reversed_by is None]
        if not mine:
            raise Refused(
                "nothing-to-undo", f"{by} has recorded nothing that could be taken back", "name it: stockroom undo R-12"
            )
        return mine[-1]
    number = number_of(text, "R")
    found = entries.entries(conn, only=number) if number else []
    if not found:
        raise Refused("unknown-entry", f'there is no entry "{text}"', "see: stockroom records history")
    if found[0].reversed_by is not None:
        raise Refused("undone-already", f"R-{number} was taken back by R-{found[0].reversed_by}", "nothing to do")
    if found[0].kind in ("undo", "init"):
        raise Refused(
            "cannot-undo", f"R-{number} ({found[0].kind}) cannot be taken back", "record it again as it should be"
        )
    return found[0]


def history(store: Store, since: int, until: int) -> list[EntryRow]:
    """Every entry recorded in a span, in order."""
    with store.reading() as conn:
        return entries.entries(conn, since=since, until=until)
