"""The practice as a value: what the practice file says, with every name resolved.

formats/practice_file.py makes these from text; core/opening.py turns the hours into staffed spans.
Temperatures in thousandths of °C, lengths of time in seconds unless the name says otherwise, money as Decimal,
times of the day in minutes since local midnight (1440 = end of day), weekdays 0 = Monday.
"""

from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
Hours = tuple[tuple[tuple[int, int], ...], ...]
"""Seven tuples of (from_minute, to_minute) spans, Monday first."""


@dataclass(frozen=True, slots=True)
class Closure:
    """Closed from the first to the last local day, both included."""

    first: date
    last: date
    why: str = ""


@dataclass(frozen=True, slots=True)
class Site:
    """One site of a group. A practice without ``[[site]]`` tables is one site with the empty name."""

    name: str
    hours: Hours
    closed: tuple[Closure, ...] = ()


@dataclass(frozen=True, slots=True)
class Fridge:
    """A fridge with its alarm limits (inclusive). ``checks`` is minmax, twice or logger."""

    name: str
    low: int
    high: int
    site: str = ""
    checks: str = "minmax"
    logger_minutes: int | None = None
    max_gap_minutes: int = 60
    settle_minutes: int = 60
    gap_hold_hours: float = 4
    capacity: int | None = None
    probe_serial: str | None = None
    calibration_due: date | None = None


@dataclass(frozen=True, slots=True)
class Shelf:
    """A place at room temperature; may carry limits too."""

    name: str
    site: str = ""
    low: int | None = None
    high: int | None = None


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who may record or decide, known by initials only."""

    initials: str
    may: frozenset[str]


@dataclass(frozen=True, slots=True)
class Supplier:
    """Who delivers, and when: days are weekdays, ``cutoff`` is a minute of the order day."""

    name: str
    order_days: tuple[int, ...]
    lead_days: int
    delivery_days: tuple[int, ...]
    cutoff: int = 1440
    minimum_order: Decimal = Decimal(0)
    closed: tuple[Closure, ...] = ()
    lead_from_orders: bool = True
    """Whether what its orders took replaces lead_days once there are enough of them."""


@dataclass(frozen=True, slots=True)
class Keep:
    """A product's own keep range, inclusive; either side may be open."""

    low: int | None
    high: int | None


@dataclass(frozen=True, slots=True)
class Allowance:
    """Up to which temperature, for how many minutes in the kit's whole life, in whose words."""

    up_to: int
    minutes: int
    source: str


@dataclass(frozen=True, slots=True)
class TradeItem:
    """A GTIN and how many single pieces it stands for."""

    code: str
    units: int


@dataclass(frozen=True, slots=True)
class PriceBreak:
    """From so many packs on, each pack of the order costs ``pack_price``."""

    packs: int
    pack_price: Decimal


@dataclass(frozen=True, slots=True)
class Product:
    """A kit (tracked one by one once it is out) or a supply (by quantity only)."""

    code: str
    name: str
    kind: str
    supplier: str
    keep: Keep | None = None
    source: str | None = None
    allowance: Allowance | None = None
    warmup_seconds: int = 0
    max_out_seconds: int | None = None
    returnable: bool = False
    pack_size: int = 1
    pack_price: Decimal | None = None
    minimum_packs: int = 1
    space: int = 1
    shelf_life_days: int | None = None
    service_target: float | None = None
    trade_items: tuple[TradeItem, ...] = ()
    contains: tuple[tuple[str, int], ...] = ()
    caution: tuple[str, ...] = ()
    price_breaks: tuple[PriceBreak, ...] = ()
    use_chance: float | None = None

    def price(self, packs: int) -> Decimal | None:
        """What each pack costs in an order of so many; None where no price is known."""
        reached = [b for b in self.price_breaks if b.packs <= packs]
        return max(reached, key=lambda b: b.packs).pack_price if reached else self.pack_price

    @property
    def warm_after(self) -> int:
        """Seconds from its arrival until it can be used: its warm-up; none of a supply, which is not followed out."""
        return self.warmup_seconds if self.warms else 0

    @property
    def cold(self) -> bool:
        """True for what must be kept in a fridge."""
        return self.keep is not None

    @property
    def warms(self) -> bool:
        """True for a kit that must be out of the fridge a while before it is used."""
        return self.kind == "kit" and self.warmup_seconds > 0


@dataclass(frozen=True, slots=True)
class Use:
    """What a procedure uses of one product: each + ceil(cycles / per_cycles) + spare."""

    product: str
    each: int = 0
    per_cycles: int | None = None
    spare: int = 0


@dataclass(frozen=True, slots=True)
class Procedure:
    """A procedure: its length in minutes without cycles, minutes per cycle, and what it uses."""

    code: str
    minutes: int
    minutes_per_cycle: int = 0
    cycles: int = 0
    max_cycles: int = 0
    expected_per_week: float = 0.0
    uses: tuple[Use, ...] = ()

    def seconds(self, cycles: int | None = None) -> int:
        """How long it takes with so many cycles (its usual number where none is given)."""
        return 60 * (self.minutes + self.minutes_per_cycle * (self.cycles if cycles is None else cycles))


@dataclass(frozen=True, slots=True)
class Practice:
    """The whole practice file as a value."""

    name: str
    timezone: str
    currency: str
    sites: tuple[Site, ...]
    fridges: tuple[Fridge, ...] = ()
    shelves: tuple[Shelf, ...] = ()
    people: tuple[Person, ...] = ()
    suppliers: tuple[Supplier, ...] = ()
    products: tuple[Product, ...] = ()
    procedures: tuple[Procedure, ...] = ()
    service_target: float = 0.95
    target_kind: str = "cycle"
    use_chance: float | None = None
    """How sure it must be that all of an order is used before it expires; None: as expected."""
    review_days: int = 7
    margin_minutes: int = 15
    rounds: tuple[int, ...] = ()
    patient_code: str | None = None
    findings: tuple[str, ...] = field(default=(), compare=False)
    """What the loader warns about, one sentence each (a fridge alarm wider than a product's keep range …)."""

    def fridge(self, name: str) -> Fridge | None:
        """The fridge of that name, or None."""
        return next((f for f in self.fridges if f.name == name), None)

    def product(self, code: str) -> Product | None:
        """The product of that code, or None."""
        return next((p for p in self.products if p.code == code), None)

    def procedure(self, code: str) -> Procedure | None:
        """The procedure of that code, or None."""
        return next((p for p in self.procedures if p.code == code), None)

    def supplier(self, name: str) -> Supplier | None:
        """The supplier of that name, or None."""
        return next((s for s in self.suppliers if s.name == name), None)

    def target_of(self, product: Product) -> float:
        """The service target that holds for a product: its own, else the practice's."""
        return self.service_target if product.service_target is None else product.service_target

    def use_chance_of(self, product: Product) -> float | None:
        """The same for how sure it must be that an order of it is used in time."""
        return self.use_chance if product.use_chance is None else product.use_chance

    @property
    def places(self) -> dict[str, str]:
        """Name of each fridge and shelf -> the site at which it stands."""
        return {f.name: f.site for f in self.fridges} | {s.name: s.site for s in self.shelves}

    def site_of(self, place: str) -> str | None:
        """The site at which a fridge or shelf stands, or None where no such place is named."""
        return self.places.get(place)
