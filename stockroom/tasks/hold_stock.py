"""Do-not-use, and the named person's decision about it: quarantine, release, discard."""

from stockroom.core.kit_mark import names_a_kit
from stockroom.core.stock import LotState
from stockroom.errors import Refused
from stockroom.store import fridges, ledger
from stockroom.store.engine import Store
from stockroom.tasks.act import Act, Recorded, Recording, cautions, may_decide, recording
from stockroom.tasks.broken_plan import sites_of, telling_broken
from stockroom.tasks.excursions_now import same_event
from stockroom.tasks.move_stock import from_places, there
from stockroom.tasks.places import code_named, key_of, number_of, place_or_box, places_here, pull_number
from stockroom.tasks.shelves import lot_named, lots_now


def quarantine(
    store: Store, act: Act, product: str, lot: str, why: str, place: str | None = None, quantity: int | None = None
) -> Recorded:
    """Holds pieces of a lot (all that are here, or some) for a reason. Raises: Refused."""
    with recording(store, act, "quarantine") as rec:
        code = code_named(rec.conn, rec.rules.practice, product)
        known = lot_named(rec.conn, code, lot)
        now = lots_now(rec.conn, act.at, [known.key]).get(known.key)
        spots = _spots(rec, now.state if now else LotState(known.key), place)
        have = sum(spots.values())
        wanted = have if quantity is None else quantity
        if now is None or wanted < 1 or have < wanted:
            where, more = "" if place is None else f" in {place}", "" if wanted == have else f", not {wanted}"
            raise Refused(
                "not-that-many", f"the record has {have or 'none'} of lot {known.code} of {code}{where}{more}",
                "if they are there, count first: stockroom stock count PLACE",
            )  # fmt: skip
        left = wanted
        with telling_broken(rec, {code}, sites_of(rec, spots)) as broken:
            for spot, pieces in spots.items():
                n = min(left, pieces)
                if n:
                    ledger.held(rec.book, known.key, key_of(rec, spot), n, act.at, rec.book.label, why)
                    left -= n
        rec.book.what = f"quarantined {wanted} x {code} lot {known.code}: {why}"
        rec.fields |= {
            "product": code, "lot": known.code, "quantity": wanted, "cause": rec.book.label, "broken": broken,
        }  # fmt: skip
        cautions(rec, {code})
    return rec.done()


def _spots(rec: Recording, state: LotState, place: str | None) -> dict[str, int]:
    names = sorted({p.place for p in state.inside()})
    if place is not None:
        wanted = _place(rec, place)
        names = [n for n in names if n == wanted]
    names = places_here(rec, names)
    return {n: state.quantity(n) for n in names}


def _place(rec: Recording, word: str) -> str:
    pull = pull_number(rec.conn, word) if names_a_kit(word) else None
    return place_or_box(rec, word) if pull is None else f"P-{pull}"


def release(
    store: Store,
    act: Act,
    product: str,
    lot: str,
    why: str,
    *,
    answer: str | None = None,
    excursion: str | None = None,
    place: str | None = None,
    quantity: int | None = None,
) -> Recorded:
    """A named person's release of held pieces from every open cause, or from one excursion. Raises: Refused."""
    with recording(store, act, "release") as rec:
        may_decide(act, rec.rules)
        code = code_named(rec.conn, rec.rules.practice, product)
        known = lot_named(rec.conn, code, lot)
        now = lots_now(rec.conn, act.at, [known.key]).get(known.key)
        only = None if excursion is None else f"E-{number_of(excursion, 'E')}"
        where = None if place is None else _place(rec, place)
        bearing = {p.place for p in (now.state.inside() if now else []) if p.causes and where in (None, p.place)}
        here = places_here(rec, bearing)
        done = 0
        causes: set[str] = set()
        for parcel in now.state.inside() if now else []:
            open_causes = set(parcel.causes) if only is None else set(parcel.causes) & {only}
            if not open_causes or parcel.place not in here:
                continue
            n = parcel.quantity if quantity is None else min(parcel.quantity, quantity - done)
            if n > 0:
                ledger.released(rec.book, known.key, key_of(rec, parcel.place), n, open_causes, why, answer)
                done += n
                causes |= open_causes
        if not done or (quantity is not None and done < quantity):
            what = f"{done} held pieces of lot {known.code} of {code}" + (f" in {where}" if where else "")
            raise Refused("not-held", f"there are {what} to release", "see: stockroom stock list")
        decide(rec, causes, "release", why, answer)
        rec.book.what = f"released {done} x {code} lot {known.code}: {why}"
        rec.fields |= {
            "product": code, "lot": known.code, "quantity": done, "causes": sorted(causes), "answer": answer,
        }  # fmt: skip
        cautions(rec, {code})
        rec.note("not-fitness", "This records your decision; it does not say that the kit is fit for use.")
    return rec.done()


def discard(
    store: Store,
    act: Act,
    product: str | None,
    lot: str | None,
    quantity: int | None,
    why: str,
    *,
    place: str | None = None,
    pull: str | None = None,
    answer: str | None = None,
) -> Recorded:
    """A named person's decision to throw pieces away; a kit that is out is named by its P-number. Raises: Refused."""
    with recording(store, act, "discard") as rec:
        may_decide(act, rec.rules)
        if pull is not None:
            said = (product, lot, place)
            product, lot, place = _pulled(rec, pull)
            if any(
                s is not None and s.casefold() != w.casefold() for s, w in zip(said, (product, lot, place), strict=True)
            ):
                raise Refused(
                    "wrong-kit", f"{place} is {product} lot {lot}, not what was said", "name the kit alone: --pull"
                )
            quantity = quantity or 1
        if product is None or lot is None or quantity is None:
            raise Refused("what-to-discard", "say what to discard", "give PRODUCT LOT --quantity N, or --pull P-5")
        code = code_named(rec.conn, rec.rules.practice, product)
        known = lot_named(rec.conn, code, lot)
        target = ledger.placed(rec.book, "discarded", "outside")
        now = lots_now(rec.conn, act.at, [known.key]).get(known.key)
        causes: set[str] = set()
        spots = from_places(rec, known.key, known.code, code, quantity, place)
        with telling_broken(rec, {code}, sites_of(rec, dict(spots))) as broken:
            for spot, pieces in spots:
                causes |= {c for p in (now.state.at(spot) if now else []) for c in p.causes}
                ledger.moved(rec.book, known.key, pieces, key_of(rec, spot), target, "discard", prefer="held", why=why)
                rec.touches(spot, act.at)
        decide(rec, causes, "discard", why, answer)
        rec.book.what = f"discarded {quantity} x {code} lot {known.code}: {why}"
        cautions(rec, {code})
        rec.fields |= {
            "product": code,
            "lot": known.code,
            "quantity": quantity,
            "pull": place if pull is not None else None,
            "broken": broken,
        }
    return rec.done()


def _pulled(rec: Recording, text: str) -> tuple[str, str, str]:
    found = ledger.pull_of(rec.conn, pull_number(rec.conn, text))
    if found is None:
        raise Refused("unknown-pull", f'there is no kit "{text}" out of the fridge', "see: stockroom stock list")
    lot = ledger.lots(rec.conn)[found.lot]
    there(rec, lot.key, lot.code, lot.product, found.place, 1)
    return lot.product, lot.code, found.place


def decide(rec: Recording, causes: set[str], verdict: str, why: str, answer: str | None) -> None:
    """Appends the decision to every excursion among the causes, with the figures that it was taken on.

    An excursion of which pieces are still held stays open all the same: a decision on a part is on record, not more.
    """
    done: set[int] = set()
    for number in sorted(int(c[2:]) for c in causes if c.startswith("E-")):
        try:
            together = same_event(rec.conn, number)
        except Refused:
            # No reading supports it any more and nothing is held for it now: there is nothing left to decide.
            continue
        for e in together:
            if e.number not in done:
                fridges.decided(rec.book, e.number, verdict, e.figures, why, answer)
                done.add(e.number)
