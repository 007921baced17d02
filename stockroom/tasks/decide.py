"""What a person says about a fridge: the decision on an excursion, why a check was missed, off and on."""

from collections.abc import Sequence
from datetime import date, timedelta

from stockroom.core.units import count, quoted
from stockroom.core.when import day_text
from stockroom.errors import Refused
from stockroom.store import Link, fridges, ledger
from stockroom.store.engine import Store
from stockroom.tasks.act import Act, Recorded, Recording, cautions, may_decide, recording
from stockroom.tasks.excursions_now import ExcursionNow, same_event
from stockroom.tasks.fridge_now import in_use
from stockroom.tasks.places import fridge_named, key_of, number_of
from stockroom.tasks.refuge import move_all_command, refuge_for
from stockroom.tasks.shelves import lots_there

MOST_DAYS = 366


def decide(
    store: Store,
    act: Act,
    excursions: Sequence[str],
    verdict: str,
    why: str,
    *,
    answer: str | None = None,
    exceptions: Sequence[str] = (),
) -> Recorded:
    """One named decision (release or discard) for all that excursions touched, less ``PRODUCT/LOT`` exceptions.

    It stands for the other records of the same event as well (``same_event``). What is excepted stays held.
    Raises: Refused for an unknown excursion or exception, or a hand that may not decide.
    """
    with recording(store, act, "decide") as rec:
        may_decide(act, rec.rules)
        together = _waiting(rec.conn, excursions)
        found = together[0]
        causes = {f"E-{n}" for e in together for n in (e.number, *e.others)}
        spared = _exceptions(exceptions, [lot for e in together for lot in e.lots])
        pieces, products = _applied(rec, causes, spared, verdict, why, answer)
        if not pieces and any(e.held for e in together):
            raise Refused(
                "nothing-decided",
                f"that would decide about no piece, and {sum(e.held for e in together)} are held for it",
                "leave out an exception, or an --at that lies before the excursion",
            )
        for e in together:
            fridges.decided(rec.book, e.number, verdict, e.figures, why, answer)
        listed = ", ".join(f"E-{e.number}" for e in together)
        done = f"{verdict} {count(pieces, 'piece')}" if any(e.lots for e in together) else "noted, no stock was touched"
        rec.book.what = f"{listed}: {done}: {why}"
        if any(e.lasts for e in together):
            rec.note("not-over", "by the last reading it is not over yet", "see: stockroom fridge check", urgent=True)
        rec.fields |= {
            "excursion": f"E-{found.number}",
            "together": [f"E-{e.number}" for e in together[1:]],
            "decision": verdict,
            "quantity": pieces,
            "why": why,
            "answer": answer,
            "excepted": [f"{p}/{x}" for p, x in sorted(spared)],
        }
        if spared:
            rec.note(
                "still-held",
                "excepted and still in quarantine: " + ", ".join(f"{p}/{x}" for p, x in sorted(spared)),
                urgent=True,
            )
        cautions(rec, products)
        if verdict == "release" and pieces:
            rec.note("not-fitness", "This records your decision; it does not say that the kit is fit for use.")
    return rec.done()


def _waiting(conn: Link, named: Sequence[str]) -> list[ExcursionNow]:
    """The excursions named, the first one first, and the other records of the same events. Raises: Refused."""
    found: dict[int, ExcursionNow] = {}
    for text in named:
        together = same_event(conn, number_of(text, "E") or 0)
        if not any(e.open or e.held for e in together):
            raise Refused(
                "already-decided",
                f"E-{together[0].number} is decided, and nothing is held for it",
                "see: stockroom fridge check",
            )
        found |= {e.number: e for e in together if e.number not in found}
    return list(found.values())


def _applied(
    rec: Recording, causes: set[str], spared: set[tuple[str, str]], verdict: str, why: str, answer: str | None
) -> tuple[int, set[str]]:
    """Releases or discards every piece that bears one of the causes, but for the excepted lots: (pieces, products)."""
    pieces, products = 0, set()
    gone = ledger.placed(rec.book, "discarded", "outside")
    for now in lots_there(rec.conn, rec.act.at).values():
        if (now.lot.product, now.lot.code) in spared:
            continue
        for parcel in now.state.inside():
            held = causes & set(parcel.causes)
            if not held:
                continue
            place = key_of(rec, parcel.place)
            if verdict == "release":
                ledger.released(rec.book, now.lot.key, place, parcel.quantity, held, why, answer)
            else:
                ledger.moved(rec.book, now.lot.key, parcel.quantity, place, gone, "discard", prefer="held", why=why)
                rec.touches(parcel.place, rec.act.at)
            pieces += parcel.quantity
            products.add(now.lot.product)
    return pieces, products


def _exceptions(given: Sequence[str], lots: Sequence[tuple[str, str, int]]) -> set[tuple[str, str]]:
    known = {f"{p}/{x}": (p, x) for p, x, _ in lots}
    for text in given:
        if text not in known:
            raise Refused(
                "unknown-exception",
                f'"{text}" was not touched by it',
                "touched: " + (", ".join(known) or "no lot") + " (PRODUCT/LOT)",
            )
    return {known[t] for t in given}


def explain(store: Store, act: Act, day: date, why: str, fridge: str | None, until: date | None = None) -> Recorded:
    """Answers for the missed checks and gaps of a day, or of all days to ``until``: of one fridge, or of all where none is named. Raises: Refused."""
    with recording(store, act, "explain") as rec:
        named = None if fridge is None else fridge_named(rec.rules.practice, fridge, act.site)
        site = rec.rules.site(act.site) if named is None else rec.rules.practice.site_of(named) or ""
        all_here = [f.name for f in rec.rules.practice.fridges if f.site == site]
        names = all_here if named is None else [named]
        today = rec.rules.opening(site).day(act.now)
        last = until or day
        if last > today:
            raise Refused("ahead-of-time", f"{day_text(last)} has not come", "explain it when it has")
        if not 0 <= (last - day).days <= MOST_DAYS:
            raise Refused("bad-days", f"{day_text(day)} to {day_text(last)} is no span to explain", "at most 366 days")
        for name in names:
            for back in range((last - day).days + 1):
                fridges.explain(rec.book, key_of(rec, name), (day + timedelta(days=back)).isoformat(), why)
        span = day_text(day) + ("" if last == day else f" to {day_text(last)}")
        rec.book.what = f"{', '.join(names)}, {span}: {why}"
        rec.fields |= {"fridges": names, "day": day.isoformat(), "until": last.isoformat(), "why": why}
    return rec.done()


def switch(store: Store, act: Act, fridge: str, on: bool, why: str | None) -> Recorded:
    """Takes a fridge out of use (defrosting, repair) or back. Raises: Refused while stock is inside."""
    with recording(store, act, "switch") as rec:
        name = fridge_named(rec.rules.practice, fridge, act.site)
        inside = sum(x.state.quantity(name) for x in lots_there(rec.conn, act.at).values())
        if not on and inside:
            site = rec.rules.practice.site_of(name) or ""
            refuge = refuge_for(rec.conn, rec.rules, name, site, act.at)
            raise Refused(
                "stock-inside",
                f"{name} still holds {count(inside, 'piece')}",
                f"move them first: {move_all_command(name, refuge.place)}",
            )
        fridges.switched(rec.book, key_of(rec, name), on, why)
        rec.touches(name, act.at)
        since = sum(x.state.quantity(name) for x in lots_there(rec.conn).values())
        if not on and since and not in_use(rec.conn, name, act.now):
            what = f"{name} is switched off and by now holds {count(since, 'piece')}: nobody checks it"
            rec.note("switched-off", what, f"stockroom fridge on {quoted(name)}", urgent=True)
        rec.book.what = f"{name} is {'on' if on else 'off'}" + (f": {why}" if why else "")
        rec.fields |= {"fridge": name, "on": on}
    return rec.done()
