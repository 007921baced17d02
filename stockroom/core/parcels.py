"""Parcels of one lot: pieces that have shared their whole path, by the place in which they stand."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from stockroom.core.records import OUTSIDE

FOREVER = 1 << 60


@dataclass(frozen=True, slots=True)
class Stay:
    """Pieces stood in ``place`` from ``start`` until ``end`` (None: they still do)."""

    place: str
    start: int
    end: int | None


@dataclass(slots=True, eq=False)
class Parcel:
    """``quantity`` pieces with one path: where they are, since when, why they may not be used, and their stays."""

    quantity: int
    place: str
    since: int
    causes: dict[str, int] = field(default_factory=dict)
    """Open causes of a hold -> the entry that recorded it."""
    ever: dict[str, int] = field(default_factory=dict)
    """Every cause for which these pieces were ever held -> since when."""
    stays: tuple[Stay, ...] = ()
    booking: int | None = None
    used_at: int | None = None
    entered: int = 0
    """The entry that brought them here, to keep first-in-first-out order among equal instants."""
    kit: str | None = None
    """The P-number of a kit that was out and has been put back: it keeps its label and its hours out."""
    order: int = 0
    """Its turn among the parcels of its lot: who came to a place later comes later."""

    @property
    def held(self) -> bool:
        """True while any cause is open."""
        return bool(self.causes)

    @property
    def outside(self) -> bool:
        """True where they have left the practice (used, discarded, returned)."""
        return self.place in OUTSIDE

    def path(self) -> tuple[Stay, ...]:
        """All stays inside the practice, the present one included."""
        here = () if self.outside else (Stay(self.place, self.since, None),)
        return self.stays + here

    def stood_in(self, place: str, start: int = -FOREVER, end: int | None = None) -> bool:
        """True where these pieces were in ``place`` at any time in [start, end]; who left at ``start`` was not."""
        return any(
            s.place == place and (s.end is None or s.end > start) and (end is None or s.start <= end)
            for s in self.path()
        )

    def part(self, quantity: int) -> "Parcel":
        """Takes ``quantity`` pieces out of this parcel as one of their own."""
        self.quantity -= quantity
        # Written out: dataclasses.replace takes four times as long, and a replay does little else.
        return Parcel(
            quantity, self.place, self.since, self.causes.copy(), self.ever.copy(), self.stays, self.booking, self.used_at,
            self.entered, self.kit,
        )  # fmt: skip


@dataclass(slots=True)
class LotState:
    """All pieces of one lot at an instant, and what is owed at each place."""

    lot: int
    parcels: list[Parcel] = field(default_factory=list)
    short: dict[str, int] = field(default_factory=dict)
    totals: dict[str, int] = field(default_factory=dict)
    """Pieces that came from or went to each outside place: supplier, used, discarded, returned, adjusted (net in)."""
    _standing: dict[str, dict[int, Parcel]] = field(default_factory=dict)
    """Place -> its parcels in their order: a lot of thousands of kits, each out on its own, is not looked through."""
    _turns: int = 0

    @property
    def unaccounted(self) -> int:
        """Pieces that were used or moved although no record brought them there."""
        return sum(self.short.values())

    @property
    def places(self) -> Iterable[str]:
        """Where any pieces stand, outside places included."""
        return self._standing.keys()

    def at(self, place: str) -> list[Parcel]:
        """Parcels that stand in ``place``."""
        return list(self._standing.get(place, _NOTHING).values())

    def inside(self) -> list[Parcel]:
        """Parcels that are in the practice, kits out of the fridge included."""
        return [p for p in self.parcels if not p.outside]

    def quantity(self, place: str, *, held: bool | None = None) -> int:
        """Pieces in ``place``; only held or only free ones where asked."""
        here = self._standing.get(place, _NOTHING).values()
        return sum([p.quantity for p in here if held is None or p.held is held])

    def settled(self) -> "LotState":
        """The same with ``parcels`` as they stand now."""
        self.parcels = sorted((p for here in self._standing.values() for p in here.values()), key=lambda p: p.order)
        return self

    def put(self, parcel: Parcel) -> None:
        """Stands a parcel where it says it is."""
        self._turns += 1
        parcel.order = self._turns
        self._standing.setdefault(parcel.place, {})[parcel.order] = parcel

    def take(self, parcel: Parcel) -> None:
        """Takes a parcel from where it stands."""
        here = self._standing[parcel.place]
        del here[parcel.order]
        if not here:
            del self._standing[parcel.place]


_NOTHING: dict[int, Parcel] = {}
