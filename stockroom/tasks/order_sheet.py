"""What goes to a supplier on paper: the lines of an order that was placed, or of what is proposed now."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from stockroom.core.practice import Practice, Product
from stockroom.core.units import degrees
from stockroom.errors import Refused, nearest
from stockroom.store import Link, orders
from stockroom.store.engine import Store
from stockroom.tasks.order_book import order_record, unknown_order
from stockroom.tasks.places import folded, number_of
from stockroom.tasks.reorder import order_plan
from stockroom.tasks.rules import Rules, rules


@dataclass(frozen=True, slots=True)
class SheetLine:
    """One product: pieces, how many packs that are (None where its pack is not known), its price and what to heed."""

    product: str
    name: str
    pieces: int
    pack_size: int | None
    pack_price: Decimal | None
    heed: tuple[str, ...]

    @property
    def packs(self) -> float | None:
        """Packs, a part of one included."""
        return None if self.pack_size is None else self.pieces / self.pack_size

    @property
    def cost(self) -> Decimal | None:
        """Of the line, to the hundredth; None without a price."""
        if self.pack_price is None or self.pack_size is None:
            return None
        return (self.pack_price * self.pieces / self.pack_size).quantize(Decimal("0.01"))


@dataclass(frozen=True, slots=True)
class OrderSheet:
    """One sheet. ``order`` is None for what is only proposed, ``placed_at`` with it; ``order_by`` where it is open."""

    practice: str
    site: str
    supplier: str
    currency: str
    order: str | None
    state: str
    placed_at: int | None
    order_by: int | None
    needed_by: date
    lines: tuple[SheetLine, ...]

    @property
    def total(self) -> Decimal:
        """Of all lines that have a price."""
        return sum((x.cost for x in self.lines if x.cost is not None), Decimal(0))

    @property
    def unpriced(self) -> tuple[str, ...]:
        """Products without a price, which the total leaves out."""
        return tuple(x.product for x in self.lines if x.cost is None)

    @property
    def ended(self) -> bool:
        """True for an order that was closed or cancelled."""
        return self.state in ("closed", "cancelled")


def order_sheets(store: Store, as_of: int, named: str, site: str | None = None) -> list[OrderSheet]:
    """The sheet of an order (O-3), or for a supplier one for each site of which something is proposed now.

    Raises: Refused for an unknown site, and for what is neither an order nor a supplier.
    """
    with store.reading() as conn:
        rule = rules(conn, as_of)
        names = [s.name for s in rule.practice.suppliers]
        supplier = folded(named, names)
        if supplier is not None:
            return _proposed(conn, rule, as_of, supplier, site)
        if number_of(named, "O") is None:
            todo = "name an order (O-3) or one of: " + ", ".join(names)
            raise Refused("unknown-supplier", f'there is no supplier "{named}"{nearest(named, names)}', todo)
        return [_placed(conn, rule, as_of, named, site)]


def _placed(conn: Link, rule: Rules, as_of: int, named: str, site: str | None) -> OrderSheet:
    o = order_record(conn, rule, as_of, named)
    if site is not None and o.site != site:
        here = {n: x for n, x in orders.orders(conn, as_of).items() if x.site == site}
        raise unknown_order(named, here)
    then = rules(conn, o.placed_at).practice  # its packs are those of that day, as its prices are
    lines = [
        _line(
            then.product(x.product), x.product, x.ordered,
            None if x.pack_price is None else Decimal(x.pack_price) / 100,
        )
        for x in o.lines
        if x.ordered
    ]  # fmt: skip
    practice = rule.practice
    return OrderSheet(
        practice.name, o.site, o.supplier, practice.currency, o.label, o.state, o.placed_at, None, o.due_on, tuple(lines)
    )  # fmt: skip


def _proposed(conn: Link, rule: Rules, as_of: int, supplier: str, site: str | None) -> list[OrderSheet]:
    practice: Practice = rule.practice
    found = []
    for s in order_plan(conn, rule, as_of, site).suppliers:
        wanted = [p for p in s.needed if p.line.order_quantity]
        if s.supplier.name == supplier and wanted:
            lines = [_line(p.product, p.product.code, p.line.order_quantity, p.product.pack_price) for p in wanted]
            found.append(
                OrderSheet(
                    practice.name, s.site, supplier, practice.currency, None, "proposed", None, s.arrival.order_by,
                    s.arrival.arrives_on, tuple(lines),
                )
            )  # fmt: skip
    return found


def _line(product: Product | None, code: str, pieces: int, price: Decimal | None) -> SheetLine:
    if product is None:  # a practice file that was loaded for back then does not know it
        return SheetLine(code, "", pieces, None, None, ())
    return SheetLine(code, product.name, pieces, product.pack_size, price, tuple(_heed(product)))


def _heed(product: Product) -> Sequence[str]:
    """What the supplier is to know: how cold it is kept, how long it is usually still good when it comes."""
    said = []
    keep = product.keep
    if keep is not None and keep.low is not None and keep.high is not None:
        said.append(f"keep at {degrees(keep.low)[:-3]} to {degrees(keep.high)}")
    elif keep is not None:
        said.append("keep cold")
    if product.shelf_life_days is not None:
        said.append(f"{product.shelf_life_days} days left are usual")
    return said
