"""What is on record, as frozen values. Instants are UTC seconds, quantities whole pieces.

Nothing here is ever changed: a correction is another record. What stands at an instant is computed
(core/stock.py, core/spells.py, core/warmup.py) from the records that had happened by then.
"""

from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

OUTSIDE = ("supplier", "used", "discarded", "returned", "adjusted")
"""Places that are not in the practice: where pieces come from and go to, so that every movement has two ends."""


@dataclass(frozen=True, slots=True)
class Lot:
    """A lot of a product. ``expiry`` is its last usable day (the earliest that was ever stated), None if unknown."""

    key: int
    product: str
    code: str
    expiry: date | None
    stated: tuple[date, ...] = ()
    """Every expiry that was stated for it; more than one is a conflict."""


@dataclass(frozen=True, slots=True)
class Movement:
    """``quantity`` pieces of a lot from one place to another at an instant.

    ``prefer`` says which pieces a person meant where a place holds both: "free" or "held".
    """

    key: int
    entry: int
    at: int
    lot: int
    quantity: int
    source: str
    target: str
    prefer: str = "free"
    kind: str = ""
    booking: int | None = None
    order: int | None = None
    why: str | None = None


@dataclass(frozen=True, slots=True)
class Hold:
    """``quantity`` pieces of a lot in ``place`` may not be used from ``at`` on, for ``cause`` (E-3 or R-12)."""

    key: int
    entry: int
    at: int
    lot: int
    place: str
    quantity: int
    cause: str
    why: str | None = None


@dataclass(frozen=True, slots=True)
class Release:
    """A named person's decision: ``quantity`` pieces in ``place`` are free of ``causes`` from ``at`` on."""

    key: int
    entry: int
    at: int
    lot: int
    place: str
    quantity: int
    causes: tuple[str, ...]
    why: str | None = None


@dataclass(frozen=True, slots=True)
class Pull:
    """A kit taken out to warm: P-number, the place it stands in while out, and since when."""

    number: int
    entry: int
    at: int
    lot: int
    product: str
    source: str
    site: str
    booking: int | None
    """The booking it is promised to now, None when it is free."""
    out_before: int = 0
    """Seconds it had been out on earlier outings."""

    @property
    def place(self) -> str:
        """The name of the place that the kit is while it is out."""
        return f"P-{self.number}"


class Booking(NamedTuple):
    """A booking as its latest change says. ``state`` is booked, done, missed or cancelled."""

    number: int
    external_id: str | None
    site: str
    procedure: str
    start: int
    end: int
    patient: str
    cycles: int | None
    """The number of cycles that was asked for, None for the procedure's usual number."""
    state: str
    made_at: int
    changed_at: int
    entry: int


@dataclass(frozen=True, slots=True)
class HandCheck:
    """One check by hand. ``low`` and ``high`` are the display's min and max since they were last reset."""

    key: int
    entry: int
    fridge: str
    at: int
    milli: int
    low: int | None = None
    high: int | None = None
    doubtful: bool = False
    by: str = ""
    note: str | None = None


@dataclass(frozen=True, slots=True)
class Finding:
    """Something about the data that a person should know: what, about which thing, and what to type next."""

    slug: str
    what: str
    todo: str = ""
    urgent: bool = False
    others: tuple[str, ...] = ()
    """What else could be typed instead of ``todo``."""

    @property
    def todos(self) -> list[str]:
        """Everything that could be typed, the nearest first."""
        return [text for text in (self.todo, *self.others) if text]
