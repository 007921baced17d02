"""Orders: recorded when they were placed, given another day, cancelled, closed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from stockroom.core.lead_times import due
from stockroom.core.practice import Practice, Product, Supplier
from stockroom.core.when import day_text
from stockroom.errors import Refused, unknown
from stockroom.store import Link, orders
from stockroom.store.engine import Store
from stockroom.tasks.act import Act, Recorded, Recording, recording
from stockroom.tasks.lead_record import lead_records
from stockroom.tasks.order_basis import OrderNow, open_orders
from stockroom.tasks.order_book import unknown_order
from stockroom.tasks.places import folded, number_of, product_named
from stockroom.tasks.reorder import OrderPlan, order_plan
from stockroom.tasks.rules import Rules, rules

CENT = Decimal("0.01")


def place(
    store: Store, act: Act, supplier: str, wanted: Sequence[tuple[str, int]], why: str | None, *, packs: bool = False
) -> Recorded:
    """Records that something was ordered.

    With quantities (pieces, or packs) exactly these are on the order, else all that is proposed; a quantity of 0
    leaves a line out of it. A rule that the order breaks is named on the record.
    Raises: Refused for unknown names, and where nothing would be on the order.
    """
    with recording(store, act, "order") as rec:
        practice = rec.rules.practice
        site = rec.book.site = rec.rules.site(act.site)
        made = _wanted(rec.conn, rec.rules, act.at, site, supplier, wanted, packs=packs)
        record = lead_records(rec.conn, rec.rules, act.at).get(made.supplier.name)
        arrival = due(made.supplier, rec.rules.opening(site), act.at, record)
        number = orders.ordered(rec.book, made.supplier.name, arrival.arrives_at)
        lines = [
            _line(rec, number, product_named(practice, c), n, made.proposed.get(c), why) for c, n in made.chosen.items()
        ]
        total = sum((Decimal(str(line["cost"] or 0)) for line in lines), Decimal(0))
        _breaches(rec, made.supplier, made.chosen, total if all(line["cost"] is not None for line in lines) else None)
        _notes(rec, made)
        listed = ", ".join(f"{line['quantity']} x {line['product']}" for line in lines)
        rec.book.what = f"O-{number} to {made.supplier.name}: {listed}, due {day_text(arrival.arrives_on)}"
        if made.differs:
            rec.book.what += f"; {made.told}: {why or 'no reason given'}"
        elif why:
            rec.book.what += f": {why}"
        rec.fields |= {
            "order": f"O-{number}", "supplier": made.supplier.name, "site": site or None,
            "due": arrival.arrives_on.isoformat(), "lines": lines, "total": float(total), "currency": practice.currency,
            "why": why,
            "differs": [{"product": c, "quantity": n, "proposed": p} for c, n, p in made.differs],
        }  # fmt: skip
    return rec.done()


def told_apart(store: Store, act: Act, supplier: str, wanted: Sequence[tuple[str, int]], *, packs: bool = False) -> str:
    """In what an order would differ from what is proposed, for whoever is asked why; empty where it does not.

    Raises: as ``place``.
    """
    with store.reading() as conn:
        rule = rules(conn, act.at)
        return _wanted(conn, rule, act.at, rule.site(act.site), supplier, wanted, packs=packs).told


@dataclass(frozen=True, slots=True)
class _Wanted:
    """What is to be on an order, beside what is proposed: pieces by product, ``mine`` of this supplier."""

    supplier: Supplier
    plan: OrderPlan
    proposed: Mapping[str, int]
    mine: Mapping[str, int]
    chosen: Mapping[str, int]

    @property
    def differs(self) -> list[tuple[str, int, int]]:
        """(product, pieces, pieces proposed) wherever they are not the same."""
        both = dict.fromkeys([*self.chosen, *self.mine])
        rows = [(c, self.chosen.get(c, 0), self.proposed.get(c, 0)) for c in both]
        return [(c, n, p) for c, n, p in rows if n != p]

    @property
    def told(self) -> str:
        """The same for people; empty where nothing differs."""
        rows = [f"{n} x {c}, not {p}" if n else f"{p} x {c} left out" for c, n, p in self.differs]
        return f"not as proposed ({'; '.join(rows)})" if rows else ""


def _wanted(
    conn: Link, rule: Rules, at: int, site: str, supplier: str, wanted: Sequence[tuple[str, int]], *, packs: bool
) -> _Wanted:
    practice = rule.practice
    found = _supplier_named(practice, supplier)
    plan = order_plan(conn, rule, at, site)
    proposed = {p.product.code: p.line.order_quantity for s in plan.suppliers for p in s.products}
    mine = {c: n for c, n in proposed.items() if n and product_named(practice, c).supplier == found.name}
    return _Wanted(found, plan, proposed, mine, _chosen(practice, wanted, mine, plan, found, packs))


def _supplier_named(practice: Practice, word: str) -> Supplier:
    names = [s.name for s in practice.suppliers]
    found = practice.supplier(folded(word, names) or "")
    if found is None:
        raise unknown("unknown-supplier", "supplier", word, names)
    return found


def _chosen(
    practice: Practice, wanted: Sequence[tuple[str, int]], mine: Mapping[str, int], plan: OrderPlan, supplier: Supplier,
    packs: bool,
) -> dict[str, int]:  # fmt: skip
    """Product -> pieces of the order. Raises: Refused."""
    asked: dict[str, int] = {}
    for word, n in wanted:
        product = product_named(practice, word)
        if product.code in asked:
            raise Refused("named-twice", f"{product.code} is named twice", "give each product once")
        if n == 0 and product.code not in mine:
            what = f"{product.code} is not proposed from {supplier.name}, so there is nothing to leave out"
            raise Refused("bad-quantity", what, "see: stockroom reorder list")
        asked[product.code] = n * product.pack_size if packs else n
    chosen = {c: n for c, n in asked.items() if n} or {c: n for c, n in mine.items() if c not in asked}
    if chosen:
        return chosen
    if asked:
        raise Refused("nothing-to-order", "that leaves nothing on the order", "give PRODUCT=N for what was ordered")
    needed = [p for s in plan.suppliers if s.supplier.name == supplier.name for p in s.needed]
    why = "; ".join(f"{p.product.code}: {p.line.why[2]}" for p in needed) or "nothing is needed"
    todo = "give PRODUCT=N for what was ordered all the same"
    raise Refused("nothing-to-order", f"nothing is proposed from {supplier.name} now ({why})", todo)


def _line(
    rec: Recording, order: int, product: Product, pieces: int, proposed: int | None, why: str | None
) -> dict[str, object]:
    price, whole_packs = product.price(pieces // product.pack_size), pieces % product.pack_size == 0
    cents = None if price is None else int((price / CENT).to_integral_value())
    orders.line(rec.book, order, product.code, pieces, proposed, cents, why)
    return {
        "product": product.code,
        "quantity": pieces,
        "packs": pieces // product.pack_size if whole_packs else pieces / product.pack_size,
        "proposed": proposed,
        "pack_price": None if price is None else float(price),
        "cost": None if price is None else float((price * pieces / product.pack_size).quantize(CENT)),
    }


def _breaches(rec: Recording, supplier: Supplier, chosen: Mapping[str, int], total: Decimal | None) -> None:
    """Names what the order breaks; ``total`` is None where a line has no price."""
    for code, pieces in chosen.items():
        product = product_named(rec.rules.practice, code)
        least = product.minimum_packs * product.pack_size
        if product.supplier != supplier.name:
            rec.broke("other-supplier", f"{code} is listed with {product.supplier}, not {supplier.name}")
        if pieces % product.pack_size:
            rec.broke(
                "part-pack", f"{pieces} x {code} are no whole packs of {product.pack_size}",
                "if they were packs: stockroom undo --why …, then place it again with --packs",
            )  # fmt: skip
        elif pieces < least:
            rec.broke("below-minimum", f"{pieces} x {code} are fewer than {least}, the least that is delivered")
    if total is not None and total < supplier.minimum_order:
        money = f"{total:.2f} of at least {supplier.minimum_order:.2f} {rec.rules.practice.currency}"
        rec.broke("below-minimum-order", f"the order comes to {money}", f"ask {supplier.name} whether they take it")


def _notes(rec: Recording, made: _Wanted) -> None:
    """Says what the person may not have meant: left out, ordered already today, more than the fridge holds."""
    supplier, plan, chosen = made.supplier, made.plan, made.chosen
    left_out = ", ".join(f"{n} x {code}" for code, n in made.mine.items() if code not in chosen)
    if left_out:
        rec.note("left-out", f"proposed, and not on this order: {left_out}")
    for t in plan.transfers:
        if t.target_site == rec.book.site and t.product.supplier == supplier.name:
            rec.note("transfer-first", f"this counts on {t.told}", t.command)
    opening = rec.rules.opening(rec.book.site)
    today = opening.day(rec.act.at)
    for o in plan.orders:
        if o.supplier == supplier.name and opening.day(o.placed_at) == today and any(map(o.coming, chosen)):
            rec.note(
                "ordered-already", f"{o.label} of the same day has from {supplier.name}: {o.missing}",
                "if it is the same order: stockroom undo --why double", urgent=True,
            )  # fmt: skip
    products = {p.code: p for p in rec.rules.practice.products}
    space = sum(n * products[c].space for c, n in chosen.items() if products[c].cold)
    room = next((s.room for s in plan.suppliers if s.supplier == supplier), plan.room[rec.book.site])
    if room is not None and space > max(0, room):
        told = f"it needs {space} spaces in the fridge, of which {max(0, room)} will be free"
        rec.note("over-full", told, urgent=True)


def expect(store: Store, act: Act, text: str, on: date) -> Recorded:
    """Records that what is still to come is expected on another day. Raises: Refused."""
    with recording(store, act, "order") as rec:
        order = _open(rec, text)
        opening = rec.rules.opening(order.site)
        spans = opening.day_spans(on)
        due = spans[-1][1] if spans else opening.midnight(on + timedelta(days=1)) - 1
        if due < act.at:
            raise Refused(
                "bad-day", f"nothing can be expected on {day_text(on)} any more", "give a day that is to come"
            )
        if not spans:
            rec.broke("nobody-there", f"nobody is there on {day_text(on)} to take it in", "agree on another day")
        orders.changed(rec.book, order.number, "expect", due=due)
        rec.book.what = f"{order.label} from {order.supplier} is expected on {day_text(on)}: {order.missing}"
        rec.fields |= {"order": order.label, "due": on.isoformat(), "was_due": order.due_on.isoformat()}
    return rec.done()


def end(store: Store, act: Act, text: str, why: str, *, cancel: bool) -> Recorded:
    """Records that what is still to come of an order was cancelled, or will not come (closed). Raises: Refused."""
    with recording(store, act, "order") as rec:
        order = _open(rec, text)
        state = "cancelled" if cancel else "closed"
        orders.changed(rec.book, order.number, "cancel" if cancel else "close", why=why)
        rec.book.what = f"{order.label} to {order.supplier} {state}, {order.missing} will not come: {why}"
        rec.note("order-again", "what is needed may have changed", "stockroom reorder list")
        lines = [{"product": code, "quantity": left} for code, _, _, left in order.lines if left]
        rec.fields |= {"order": order.label, "state": state, "not_coming": lines, "why": why}
    return rec.done()


def _open(rec: Recording, text: str) -> OrderNow:
    """The order, which now belongs to this entry's site. Raises: Refused where nothing of it is still to come."""
    number = number_of(text, "O")
    known = orders.orders(rec.conn)
    coming = {o.number: o for o in open_orders(rec.conn, rec.rules, rec.act.at, rec.rules.sites(None))}
    if number is None or number not in known:
        raise unknown_order(text, known)
    listed = "open orders: " + (", ".join(o.label for o in coming.values()) or "none")
    state = known[number].state
    if state != "open" or number not in coming:
        said = (
            f"is {state}" if state != "open" else f"was not open on {day_text(rec.rules.opening('').day(rec.act.at))}"
        )
        raise Refused("order-not-open", f"O-{number} {said}, nothing of it is to come", listed)
    if rec.act.site is not None and coming[number].site != rec.act.site:
        raise Refused(
            "other-site", f"O-{number} is of {coming[number].site}, not of {rec.act.site}", "leave --site out"
        )
    rec.book.site = coming[number].site
    return coming[number]
