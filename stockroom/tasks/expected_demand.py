"""What a site will need of a product besides what is booked: still to be booked, cycles beyond plan, use outside bookings.

One place answers for the order list, whatever the instant until which is asked.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from stockroom.core.counts import Pmf, mean_of
from stockroom.core.cycle_spread import Pieces, pieces_used
from stockroom.core.intermittent import outside_bookings, tsb
from stockroom.core.net_counts import Net, above_zero, for_each, gain, repeated, total
from stockroom.core.opening import Opening, merged
from stockroom.core.practice import Procedure, Product
from stockroom.store import Link, practices
from stockroom.tasks.booking_history import BookingHistory, booking_history
from stockroom.tasks.booking_outlook import WEEK, Outlook, StillBooked
from stockroom.tasks.order_basis import SiteNow
from stockroom.tasks.outside_use import OutsideUse, outside_use
from stockroom.tasks.rules import opening_of, spans


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """What one procedure adds: what is still to be booked of it, the pieces that each takes as planned, and on average."""

    procedure: str
    still: StillBooked
    pieces: int
    pieces_mean: float


@dataclass(frozen=True, slots=True, eq=False)
class Still:
    """Pieces of a product still needed besides the planned ones of known bookings.

    ``pmf`` is their distribution, where less than none counts as none; ``mean`` what is expected, not below zero. Of it
    ``outside`` is use outside bookings, and ``cycles`` what known bookings are expected to take beyond plan.
    """

    pmf: Pmf
    mean: float
    parts: tuple[Part, ...]
    outside: float
    cycles: float

    @property
    def words(self) -> str:
        """By which forecasts it was found."""
        found: dict[str, list[str]] = {}
        for part in self.parts:
            found.setdefault(part.still.words, []).append(part.procedure)
        if len(found) == 1:
            return next(iter(found))
        return "; ".join(f"{', '.join(codes)}: {words}" for words, codes in found.items())


@dataclass(slots=True, eq=False)
class Expected:
    """The demand that a site expects at an instant; what was computed once is kept."""

    here: SiteNow
    history: BookingHistory
    outside: OutsideUse
    outlook: Outlook
    _pieces: dict[tuple[str, int | None], dict[str, Pieces]] = field(default_factory=dict)
    _known: dict[str, list[tuple[int, int, int]]] = field(default_factory=dict)
    _alike: dict[int, Counter[tuple[str, int | None]]] = field(default_factory=dict)
    _procedures: dict[str, Procedure] = field(init=False)
    _products: dict[str, Product] = field(init=False)

    def __post_init__(self) -> None:
        self._procedures, self._products = self.here.procedures, self.here.products
        for b in self.here.bookings:
            for code, found in self._takes(self._procedures[b.procedure], b.cycles).items():
                if found.planned:
                    self._known.setdefault(code, []).append((b.number, b.start, found.planned))

    def known(self, product: str) -> tuple[tuple[int, int, int], ...]:
        """(B-number, start, pieces as planned) of every booking not yet done that takes any, by start."""
        return tuple(self._known.get(product, ()))

    def still(self, product: Product, end: int, whole: int | None = None) -> Still:
        """What is still needed of a product until an instant; as a part of the time until ``whole``, where that is given."""
        target, code = self.here.practice.target_of(product), product.code
        parts, nets, mean = [], [], 0.0
        for procedure, pieces in self.users(code):
            booked = self.outlook.still(procedure, end, target, whole)
            usual = mean_of(pieces.each)
            parts.append(Part(procedure.code, booked, pieces.planned, usual))
            nets.append(for_each(booked.spread, pieces.each))
            mean += booked.mean * usual
        beyond = self._beyond_plan(code, end)
        series = self.outside.weekly(self.here.name, code, self.outlook.grid(end).bounds)
        outside = outside_bookings(series, usual_weeks(self.here.opening, self.here.at, end))
        cycles, extra = sum(net.mean for net in beyond), mean_of(outside)
        pmf = above_zero(total([*nets, *beyond, gain(outside)]))
        return Still(pmf, max(0.0, mean + cycles + extra), tuple(parts), extra, cycles)

    def per_day(self, product: Product, end: int) -> float:
        """Expected pieces a calendar day in the long run, booked or not, as seen by the forecasts used until an instant."""
        target = self.here.practice.target_of(product)
        weekly = sum(self.outlook.per_week(p, end, target) * mean_of(n.each) for p, n in self.users(product.code))
        return (weekly + tsb(self.outside.weekly(self.here.name, product.code, self.outlook.grid(end).bounds))) / 7

    def _takes(self, procedure: Procedure, cycles: int | None) -> dict[str, Pieces]:
        key = (procedure.code, cycles)
        if key not in self._pieces:
            spread = self.history.cycles(procedure.code)
            self._pieces[key] = pieces_used(procedure, cycles, spread, self._products)
        return self._pieces[key]

    def users(self, product: str) -> list[tuple[Procedure, Pieces]]:
        """The procedures that take any of a product, at their usual number of cycles or beyond it."""
        found = ((p, self._takes(p, None).get(product)) for p in self.here.practice.procedures)
        return [(p, pieces) for p, pieces in found if pieces is not None]

    def _beyond_plan(self, product: str, end: int) -> list[Net]:
        """How far the known bookings until an instant may go beyond their planned pieces, or stay below."""
        if end not in self._alike:
            self._alike[end] = Counter((b.procedure, b.cycles) for b in self.here.bookings if b.start < end)
        found = []
        for (code, cycles), number in self._alike[end].items():
            pieces = self._takes(self._procedures[code], cycles).get(product)
            if pieces is not None and not pieces.certain:
                found.append(repeated(pieces.beyond, number))
        return found


def usual_weeks(opening: Opening, start: int, end: int) -> float:
    """A time in weeks of the usual staffed time, of seven days where the hours have none."""
    usual = 60 * sum(b - a for day in opening.site.hours for a, b in merged(day))
    staffed = sum(b - a for a, b in opening.spans(start, end))
    return staffed / usual if usual else max(0, end - start) / WEEK


def expected_demand(conn: Link, at: int, sites: Sequence[SiteNow]) -> list[Expected]:
    """The demand that each of some sites of a practice expects at an instant."""
    if not sites:
        return []
    practice, ruled = sites[0].practice, spans(conn)
    history = booking_history(conn, practice, ruled, at)
    outside = outside_use(conn, practice, ruled, at, history)
    exceptions = practices.day_exceptions(conn, at)
    found = []
    for here in sites:
        hours = [(a, b, opening_of(ruling, here.name, exceptions)) for a, b, ruling in ruled]
        since = min(_beginnings(here.name, history, outside), default=at)
        found.append(Expected(here, history, outside, Outlook(here, history, hours, ruled, since)))
    return found


def _beginnings(site: str, history: BookingHistory, outside: OutsideUse) -> list[int]:
    """When bookings were first made, and for when, and since when there is a record of any product."""
    found = [at for (name, _), at in outside.since.items() if name == site]
    for (name, _), books in history.books.items():
        if name == site:
            found += [int(column.min()) for column in (books.since, books.start) if len(column)]
            found += [] if books.first_made is None else [books.first_made]
    return found
