"""When a kit has to leave the fridge for a booking, until when it is good, and when it could serve at the earliest.

All times are elapsed seconds between UTC instants: 24 h are 24 h, whatever the clocks do in between.
"""

from dataclasses import dataclass
from typing import NamedTuple

from stockroom.core.opening import SEARCH_SECONDS, Opening
from stockroom.core.practice import Practice, Product


@dataclass(frozen=True, slots=True)
class Kit:
    """One kit that is out of the fridge. ``lot`` is the lot's key, ``lot_code`` what people call it.

    ``expiry_end``: the instant at which its last usable day ends. ``out_before``: seconds out on earlier outings.
    ``promised_to``: the booking that a person took it out for, None where it is free.
    """

    product: str
    lot: int
    lot_code: str
    site: str
    expiry_end: int | None
    place: str
    pull: int
    pulled_at: int
    out_before: int = 0
    promised_to: int | None = None


@dataclass(frozen=True, slots=True)
class FridgeStock:
    """``quantity`` usable kits of one lot in one fridge; those put back after an outing apart from the fresh."""

    product: str
    lot: int
    lot_code: str
    site: str
    place: str
    expiry_end: int | None
    quantity: int
    out_before: int = 0


class TakeOut(NamedTuple):
    """The times between which a kit must leave the fridge; ``not_before`` None where no limit is known."""

    not_before: int | None
    by: int
    staffed_by: int | None


@dataclass(frozen=True, slots=True)
class Habits:
    """When this practice takes kits out: seconds inside opening hours, or rounds in minutes of the day."""

    margin: int
    rounds: tuple[int, ...]


def habits(practice: Practice) -> Habits:
    """The practice's margin and rounds."""
    return Habits(60 * practice.margin_minutes, practice.rounds)


def ready_at(kit: Kit, product: Product) -> int:
    """When the kit's warm-up time is reached: pulled_at + warm-up, in elapsed time."""
    return kit.pulled_at + product.warmup_seconds


def use_by(kit: Kit, product: Product) -> int | None:
    """The earlier of pulled_at + what is left of its hours out, and the end of its expiry day.

    None where nobody has said how long it may be out: ask the maker.
    """
    return None if product.max_out_seconds is None else last_use(kit, product)


def last_use(kit: Kit, product: Product) -> int | None:
    """The limit that is known for a kit, be it only its expiry; None where there is none at all."""
    left = time_left(product, kit.out_before)
    if left is None:
        return kit.expiry_end
    limit = kit.pulled_at + left
    return limit if kit.expiry_end is None else min(limit, kit.expiry_end)


def time_left(product: Product, out_before: int = 0) -> int | None:
    """How many seconds a kit may yet be out; None where the product's limit is not known."""
    return None if product.max_out_seconds is None else product.max_out_seconds - out_before


def take_out(start: int, end: int, warmup: int, left: int | None, opening: Opening, habit: Habits) -> TakeOut:
    """When a kit must leave the fridge to be warm at ``start`` and good until ``end``."""
    by = start - warmup
    return TakeOut(None if left is None else end - left, by, opening.latest(by, habit.margin, habit.rounds))


def earliest_start(
    opening: Opening, seconds: int, warm_at: int, limit: int | None, not_before: int | None = None
) -> int | None:
    """The first start from which a kit that is warm at ``warm_at`` and good until ``limit`` lasts for ``seconds``.

    The whole procedure lies inside one staffed span. None where there is none within 400 days.
    """
    start = opening.start_for(seconds, warm_at if not_before is None else max(warm_at, not_before))
    return None if start is None or (limit is not None and start + seconds > limit) else start


def earliest_start_from_fridge(
    opening: Opening,
    habit: Habits,
    product: Product,
    seconds: int,
    now: int,
    *,
    left: int | None,
    expiry_end: int | None,
    not_before: int | None = None,
) -> int | None:
    """The first start that a kit still in the fridge could serve, taken out at a staffed moment from ``now`` on.

    The moment in question is the latest one before the warm-up: taken out earlier, a kit that may be out for two
    days does not last over a long week-end. None where there is no such start within 400 days.
    """
    warmup = product.warmup_seconds
    pulled = opening.earliest(now, habit.margin, habit.rounds)
    if pulled is None or (left is not None and warmup + seconds > left):
        return None
    first = pulled + warmup if not_before is None else max(pulled + warmup, not_before)
    start, last = opening.start_for(seconds, first), first + SEARCH_SECONDS
    while start is not None and start <= last:
        lower = now if left is None else max(now, start + seconds - left)
        if opening.latest(start - warmup, habit.margin, habit.rounds, lower) is not None:
            return None if expiry_end is not None and start + seconds > expiry_end else start
        later = opening.earliest(start - warmup, habit.margin, habit.rounds)
        start = None if later is None else opening.start_for(seconds, later + warmup)
    return None
