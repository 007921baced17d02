"""Where every piece of a lot came from and went, what it was exposed to, which bookings it reached; and backwards."""

from dataclasses import dataclass

from stockroom.core.exposure import Exposure
from stockroom.core.kit_mark import names_a_kit
from stockroom.core.records import Booking, Lot
from stockroom.core.stock import LotState
from stockroom.errors import Refused
from stockroom.store import Link, bookings, entries, ledger
from stockroom.store.engine import Store
from stockroom.tasks.diary import booking_named, booking_of
from stockroom.tasks.excursions_now import ExcursionNow, excursion_named
from stockroom.tasks.lot_exposure import lot_exposure
from stockroom.tasks.places import code_named, number_of, pull_number
from stockroom.tasks.rules import rules
from stockroom.tasks.shelves import LotNow, lot_named, lots_now


@dataclass(frozen=True, slots=True)
class Reached:
    """Pieces of a lot that one booking used."""

    booking: int
    patient: str
    at: int
    quantity: int
    external_id: str | None
    held: bool


@dataclass(frozen=True, slots=True)
class LotTrace:
    """The whole story of a lot at an instant. ``difference`` is 0 where its quantities add up."""

    as_of: int
    lot: Lot
    received: int
    used: int
    discarded: int
    returned: int
    adjusted: int
    on_hand: int
    out: int
    unaccounted: int
    exposure: Exposure
    stays: tuple[tuple[str, int, int | None, int], ...]
    reached: tuple[Reached, ...]
    causes: tuple[str, ...]
    opening: bool
    """True where it was on the shelf on the first day: what it went through before is not known."""

    @property
    def difference(self) -> int:
        """Pieces that came less those that are known of: it is zero, or something is wrong with the record."""
        gone = self.used + self.discarded + self.returned
        return self.received + self.adjusted + self.unaccounted - gone - self.on_hand - self.out


def trace_lot(store: Store, product: str, lot: str | None, as_of: int) -> LotTrace:
    """Follows a lot by its exact code, or by the number or label of a kit of it (``P-5``). Raises: Refused."""
    with store.reading() as conn:
        rule = rules(conn, as_of)
        if lot is None:
            found = _lot_of_kit(conn, product)
        else:
            found = lot_named(conn, code_named(conn, rule.practice, product), lot)
        now = lots_now(conn, as_of, [found.key]).get(found.key) or _empty(found)
        return lot_story(conn, now, as_of)


def _lot_of_kit(conn: Link, text: str) -> Lot:
    pull = ledger.pull_of(conn, pull_number(conn, text)) if names_a_kit(text) else None
    if pull is None:
        raise Refused("which-lot", f'"{text}" alone names no lot', "give PRODUCT LOT, or a kit's number or label: P-5")
    return ledger.lots(conn)[pull.lot]


def _empty(lot: Lot) -> LotNow:
    return LotNow(lot, ledger.LotRecords((), (), ()), LotState(lot.key))


def lot_story(conn: Link, now: LotNow, as_of: int) -> LotTrace:
    """The trace of one lot from its state at an instant."""
    state = now.state
    known = bookings.bookings(conn, as_of)
    reached = []
    for parcel in state.at("used"):
        row = known.get(parcel.booking or 0)
        if parcel.booking is not None:
            reached.append(
                Reached(
                    parcel.booking, row.patient if row else "", parcel.used_at or 0, parcel.quantity,
                    row.external_id if row else None, bool(parcel.ever),
                )
            )  # fmt: skip
    inside = state.inside()
    totals = state.totals
    return LotTrace(
        as_of,
        now.lot,
        totals.get("supplier", 0),
        -totals.get("used", 0),
        -totals.get("discarded", 0),
        -totals.get("returned", 0),
        totals.get("adjusted", 0),
        sum(p.quantity for p in inside if not p.place.startswith("P-")),
        sum(p.quantity for p in inside if p.place.startswith("P-")),
        state.unaccounted,
        lot_exposure(conn, now, as_of),
        _stays(state),
        _merged(reached),
        tuple(sorted({c for p in state.parcels for c in p.ever})),
        any(m.kind == "opening" for m in now.records.movements),
    )


def _merged(rows: list[Reached]) -> tuple[Reached, ...]:
    found: dict[tuple[int, int], Reached] = {}
    for r in rows:
        old = found.get((r.booking, r.at))
        n = r.quantity + (old.quantity if old else 0)
        found[r.booking, r.at] = Reached(r.booking, r.patient, r.at, n, r.external_id, r.held or bool(old and old.held))
    return tuple(sorted(found.values(), key=lambda r: (r.at, r.booking)))


def _stays(state: LotState) -> tuple[tuple[str, int, int | None, int], ...]:
    found: dict[tuple[str, int, int | None], int] = {}
    for parcel in state.parcels:
        for stay in parcel.path():
            key = (stay.place, stay.start, stay.end)
            found[key] = found.get(key, 0) + parcel.quantity
    rows = [(place, start, end, n) for (place, start, end), n in found.items()]
    return tuple(sorted(rows, key=lambda r: (r[1], r[0], r[2] or 1 << 60)))


@dataclass(frozen=True, slots=True)
class Piece:
    """Pieces of one lot that an excursion touched: where they are now, held or not, and which booking used them."""

    product: str
    lot: str
    quantity: int
    place: str
    held: bool
    booking: int | None
    external_id: str | None
    at: int | None


@dataclass(frozen=True, slots=True)
class ExcursionTrace:
    """From a fault to lots to bookings: an excursion, and what became of every piece that it touched."""

    as_of: int
    excursion: ExcursionNow
    pieces: tuple[Piece, ...]


def trace_excursion(store: Store, text: str, as_of: int) -> ExcursionTrace:
    """What an excursion touched and what became of it. Raises: Refused."""
    with store.reading() as conn:
        e = excursion_named(conn, number_of(text, "E") or 0, as_of)
        causes = {f"E-{n}" for n in (e.number, *e.others)}
        lots = {(product, lot) for product, lot, _ in e.lots}
        known = bookings.bookings(conn, as_of)
        found = []
        for now in lots_now(conn, as_of).values():
            for p in now.state.parcels:
                inside = e.event is not None and p.stood_in(e.fridge, e.event.start, e.event.end)
                own = (now.lot.product, now.lot.code) in lots and inside
                if own or causes & p.ever.keys():
                    row = known.get(p.booking or 0)
                    found.append(
                        Piece(
                            now.lot.product, now.lot.code, p.quantity, p.place, bool(causes & p.causes.keys()), p.booking,
                            row.external_id if row else None, p.used_at,
                        )
                    )  # fmt: skip
    return ExcursionTrace(as_of, e, tuple(sorted(found, key=lambda p: (p.product, p.lot, p.place, p.booking or 0))))


@dataclass(frozen=True, slots=True)
class BookingTrace:
    """Backwards from a booking: what it used, by lot and kit, and the rules that this broke."""

    booking: Booking
    used: tuple[tuple[str, str, str, int, int, tuple[str, ...]], ...]
    """(product, lot, place it came from, pieces, when, causes for which they were ever held)."""
    breaches: tuple[str, ...]


def trace_booking(store: Store, text: str, as_of: int) -> BookingTrace:
    """What a booking used and whence. Raises: Refused."""
    with store.reading() as conn:
        rule = rules(conn, as_of)
        named = booking_named(conn, rule, text, as_of)
        row = bookings.bookings(conn, as_of, named.number)[named.number]
        booking = booking_of(row, rule.practice)
        used = []
        about: set[int] = {row.entry}
        for now in lots_now(conn, as_of).values():
            for parcel in now.state.at("used"):
                if parcel.booking == booking.number:
                    place = parcel.stays[-1].place if parcel.stays else "unaccounted"
                    used.append(
                        (
                            now.lot.product,
                            now.lot.code,
                            place,
                            parcel.quantity,
                            parcel.used_at or 0,
                            tuple(sorted(parcel.ever)),
                        )
                    )
            about |= {m.entry for m in now.records.movements if m.booking == booking.number}
        broken = [what for n, rows in entries.breaches(conn).items() if n in about for _, what in rows]
    return BookingTrace(booking, tuple(sorted(used)), tuple(broken))
