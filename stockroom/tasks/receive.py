"""Takes deliveries in, and what is on the shelves on the first day."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from stockroom.core.practice import Product
from stockroom.core.units import (
    LIKELY_HIGH,
    LIKELY_LOW,
    SLIP_HIGH,
    SLIP_LOW,
    celsius,
    count,
    degrees,
    few,
    quoted,
    quoted_lot,
)
from stockroom.core.when import day_text
from stockroom.errors import Refused
from stockroom.formats.stock_csv import read_opening
from stockroom.store import ledger
from stockroom.store.engine import Store
from stockroom.tasks.act import Act, Recorded, Recording, cautions, recording
from stockroom.tasks.against_order import against_order, order_not_named, shelf_life, to_come
from stockroom.tasks.fridge_now import in_use
from stockroom.tasks.places import key_of, place_named, product_named
from stockroom.tasks.shelves import lots_now, lots_there


@dataclass(frozen=True, slots=True)
class Told:
    """What a person says of what arrived, all of it or beside a barcode; ``quantity`` in single pieces, or ``packs``."""

    product: str | None = None
    lot: str | None = None
    expiry: date | None = None
    quantity: int | None = None
    packs: int | None = None


@dataclass(frozen=True, slots=True)
class Delivery:
    """What arrived: ``quantity`` in single pieces, or ``packs``; ``arrived_at`` in thousandths of °C."""

    product: str
    lot: str
    expiry: date
    into: str
    quantity: int | None = None
    packs: int | None = None
    arrived_at: int | None = None
    order: str | None = None
    lender: str | None = None
    damaged: int = 0


def receive(store: Store, act: Act, delivery: Delivery) -> Recorded:
    """Records a delivery. What arrives expired, too warm or into the wrong place is recorded all the same, and named.

    Raises: Refused for unknown names or a quantity that cannot be.
    """
    with recording(store, act, "receive") as rec:
        into = ready_place(rec, delivery.into)
        rec.book.what, fields = taken_in(rec, delivery, into)
        rec.fields |= fields
        _roomy(rec, into)
    return rec.done()


def receive_all(
    store: Store, act: Act, deliveries: Sequence[Delivery], first: Callable[[Recording], None], *, one: bool
) -> Recorded:
    """Records several products and lots that came together as one entry: all of them, or none.

    ``first`` is called with the open entry. ``one``: answered like ``receive``. All go into the same place.
    Raises: Refused for unknown names or a quantity that cannot be.
    """
    with recording(store, act, "receive") as rec:
        first(rec)
        into = ready_place(rec, deliveries[0].into)
        parts = [taken_in(rec, d, into) for d in deliveries]
        _roomy(rec, into)
        rec.findings = list(dict.fromkeys(rec.findings))
        if one:
            rec.book.what = parts[0][0]
            rec.fields |= parts[0][1]
        else:
            came = [f"{f['quantity']} x {f['product']} lot {f['lot']}" for _, f in parts]
            total = sum(d.quantity or 0 for d in deliveries)
            rec.book.what = f"received {count(total, 'piece')} into {into}: {', '.join(came)}"
            rec.fields |= {"place": into, "quantity": total, "deliveries": [f for _, f in parts]}
    return rec.done()


def ready_place(rec: Recording, word: str) -> str:
    """The place that a delivery goes into; says where nobody checks it. Raises: Refused for one of another site."""
    into = place_named(rec.rules.practice, word)
    if rec.act.site is not None and rec.rules.practice.site_of(into) != rec.act.site:
        raise Refused(
            "other-site", f"{into} is not at {rec.act.site}", "name a place of that site, or leave --site out"
        )
    if not in_use(rec.conn, into, rec.act.at):
        rec.note(
            "switched-off",
            f"{into} is switched off: nobody checks it",
            f"stockroom fridge on {quoted(into)}",
            urgent=True,
        )
    return into


def taken_in(rec: Recording, delivery: Delivery, into: str) -> tuple[str, dict[str, Any]]:
    """Appends one product and lot of a delivery; returns it in a sentence, and as fields of the answer.

    Raises: Refused for unknown names or a quantity that cannot be.
    """
    product = product_named(rec.rules.practice, delivery.product)
    lot = _lot_code(delivery.lot)
    pieces = _pieces(product, delivery)
    number = None
    if delivery.order is not None:
        number = against_order(rec, delivery.order, product, pieces, into).number
    elif delivery.lender is None:
        order_not_named(rec, product, into)
    key = ledger.lot_key(rec.book, product.code, lot)
    _expiry(rec, key, product.code, lot, delivery.expiry)
    source = ledger.placed(rec.book, "supplier", "outside")
    place = key_of(rec, into)
    ledger.moved(rec.book, key, pieces, source, place, "receive", order=number, why=delivery.lender)
    if delivery.damaged:
        if delivery.damaged > pieces:
            raise Refused("bad-quantity", f"{delivery.damaged} broken of {pieces} cannot be", "count them again")
        gone = ledger.placed(rec.book, "discarded", "outside")
        ledger.moved(rec.book, key, delivery.damaged, place, gone, "discard", why="came damaged")
    _kept_cold(rec, product, into)
    if delivery.arrived_at is not None:
        _arrival(rec, product, lot, key, place, pieces - delivery.damaged, delivery.arrived_at)
    lasts = shelf_life(rec, product, lot, delivery.expiry, pieces - delivery.damaged, into, delivery.lender)
    left = None if number is None else to_come(rec, number)
    rec.touches(into, rec.act.at)
    packs = (
        f" ({count(pieces // product.pack_size, 'pack')})"
        if product.pack_size > 1 and pieces % product.pack_size == 0
        else ""
    )
    origin = f" borrowed from {delivery.lender}" if delivery.lender else ""
    warm = "" if delivery.arrived_at is None else f", at {degrees(delivery.arrived_at)}"
    rest = "" if left is None else ", ".join(f"{n} x {code}" for code, n in left.items())
    of = "" if left is None else f", of O-{number} ({f'to come: {rest}' if rest else 'nothing more to come'})"
    what = f"received {pieces} x {product.code} lot {lot}{packs}{origin} into {into}{warm}{of}"
    return what, {
        "product": product.code,
        "lot": lot,
        "expiry": delivery.expiry.isoformat(),
        "quantity": pieces,
        "packs": None if pieces % product.pack_size else pieces // product.pack_size,
        "place": into,
        "order": None if number is None else f"O-{number}",
        "to_come": None if left is None else [{"product": c, "quantity": n} for c, n in left.items()],
        "arrived_celsius": celsius(delivery.arrived_at),
        **lasts,
    }


def opening(store: Store, act: Act, data: bytes, name: str) -> Recorded:
    """Records what stands on the shelves on the first day; its earlier exposure is unknown.

    Raises: Refused where any line cannot be read or names something unknown: then nothing is recorded.
    """
    read = read_opening(data, name)
    if read.rejected:
        listed = "; ".join(f"line {r.line}: {r.why}" for r in read.rejected[:8])
        raise Refused("bad-file", f"{name}: {listed}", "mend these lines; nothing was recorded")
    with recording(store, act, "opening") as rec:
        source = ledger.placed(rec.book, "supplier", "outside")
        pieces = 0
        again: list[str] = []
        for row in read.rows:
            try:
                product = product_named(rec.rules.practice, row.product)
                into = place_named(rec.rules.practice, row.place)
            except Refused as fault:
                raise Refused(fault.slug, f"{name} line {row.line}: {fault.what}", fault.todo) from None
            key = ledger.lot_key(rec.book, product.code, _lot_code(row.lot))
            before = lots_now(rec.conn, only=[key]).get(key)
            if before is not None and any(
                m.kind == "opening" and m.entry != rec.book.n for m in before.records.movements
            ):
                again.append(f"{product.code} lot {row.lot}")
            _expiry(rec, key, product.code, row.lot, row.expiry)
            ledger.moved(rec.book, key, row.quantity, source, key_of(rec, into), "opening")
            pieces += row.quantity
            rec.touches(into, act.at)
            _kept_cold(rec, product, into)
            _roomy(rec, into)
        if again:
            todo = f"if it is the same file: stockroom undo {rec.book.label} --why repeated"
            rec.broke("opened-before", f"in an earlier opening file as well, it counts twice now: {few(again)}", todo)
        rec.book.what = f"opening stock: {count(pieces, 'piece')} in {count(len(read.rows), 'line')} of {name}"
        rec.note("unknown-before", "What these lots went through before today is not known; traces say so.")
        rec.fields |= {"lines": len(read.rows), "quantity": pieces}
    return rec.done()


def _lot_code(text: str) -> str:
    code = text.strip()
    if not code or len(code) > 40 or any(not c.isprintable() for c in code):
        raise Refused("bad-lot", f'"{text}" is not a lot code', "type it as it is printed on the box; capitals count")
    return code


def _pieces(product: Product, delivery: Delivery) -> int:
    if (delivery.quantity is None) == (delivery.packs is None):
        raise Refused("which-quantity", "say how many came", "give --quantity (single pieces) or --packs, not both")
    pieces = delivery.quantity if delivery.packs is None else delivery.packs * product.pack_size
    if pieces is None or pieces < 1:
        raise Refused("bad-quantity", f"a quantity of {pieces} cannot be", "give 1 or more")
    if pieces > 1_000_000:
        raise Refused("bad-quantity", f"a quantity of {pieces} is surely a slip", "check the number")
    return pieces


def _expiry(rec: Recording, key: int, product: str, lot: str, expiry: date | None) -> None:
    known = ledger.lots(rec.conn, product, lot)
    stated = known[key].stated if key in known else ()
    ledger.state_expiry(rec.book, key, expiry)
    if expiry is not None and stated and expiry not in stated:
        rec.broke(
            "two-expiries",
            f"lot {lot} of {product} is on record with expiry {day_text(stated[0])}, now {day_text(expiry)}",
            "look at the box; until then the earlier one counts (a wrong entry: stockroom undo R-…)",
        )
    today = rec.rules.opening(rec.book.site).day(rec.act.at)
    if expiry is not None and expiry < today:
        rec.broke(
            "expired-on-arrival", f"lot {lot} of {product} expired on {day_text(expiry)}", "do not use it; send it back"
        )


def _kept_cold(rec: Recording, product: Product, into: str) -> None:
    if product.cold and rec.rules.practice.fridge(into) is None:
        rec.broke(
            "kept-warm", f"{product.code} is kept cold, and {into} is no fridge", "move it: stockroom stock move …"
        )


def _roomy(rec: Recording, into: str) -> None:
    fridge = rec.rules.practice.fridge(into)
    if fridge is None or fridge.capacity is None:
        return
    full = space_taken(rec, into)
    if full > fridge.capacity:
        rec.note(
            "over-full",
            f"{into} holds {full} of its {fridge.capacity} spaces",
            "move some, or order less next time",
            urgent=True,
        )


def space_taken(rec: Recording, place: str) -> int:
    """Spaces that stand in a fridge now, in the products' ``space``."""
    total = 0
    for lot in lots_there(rec.conn).values():
        product = rec.rules.practice.product(lot.lot.product)
        total += lot.state.quantity(place) * (product.space if product else 1)
    return total


def _arrival(rec: Recording, product: Product, code: str, lot: int, place: int, pieces: int, milli: int) -> None:
    if not SLIP_LOW <= milli <= SLIP_HIGH:
        raise Refused("bad-temperature", f"{degrees(milli)} is surely a slip", "read the display again")
    if not LIKELY_LOW <= milli <= LIKELY_HIGH:
        doubt = f"{degrees(milli)} is unusual for a delivery"
        if rec.act.ask is None:
            rec.broke("doubtful", doubt, f"if it is a slip: stockroom undo {rec.book.label} --why slip")
        elif not rec.act.ask(f"{doubt}. Is that really so?"):
            raise Refused("slip", "not recorded", "look at the thermometer again")
    keep = product.keep
    if keep is None:
        return
    warm = keep.high is not None and milli > keep.high
    cold = keep.low is not None and milli < keep.low
    if not warm and not cold:
        return
    limit = degrees(keep.high if warm else keep.low)
    what = f"{product.code} arrived at {degrees(milli)}, its limit is {limit}: in quarantine"
    ledger.held(rec.book, lot, place, pieces, rec.act.at, rec.book.label, f"arrived at {degrees(milli)}")
    decide = (
        f"stockroom stock release|discard {product.code} {quoted_lot(code)} --quantity {pieces} --why … --by INITIALS"
    )
    rec.broke("arrived-out-of-range", what, f"ask the maker or the supplier; then: {decide}")
    cautions(rec, {product.code})
