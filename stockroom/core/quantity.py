"""From what is needed to what is ordered: whole packs, the least that is delivered, price breaks, room, shelf life.

In this order, each said in words. What is more than needed (packs, minimum, a price break) must fit and be used too.
"""

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal

from stockroom.core.practice import Product
from stockroom.core.units import count


@dataclass(frozen=True, slots=True)
class Decided:
    """So many packs, what limited them (pack, minimum, space, shelf_life), and how it came to that."""

    packs: int
    limited: tuple[str, ...]
    words: str


def decided(
    need: int, product: Product, free_space: int | None, in_time: Callable[[int], int], chance: float | None = None
) -> Decided:
    """The packs to order of a product of which ``need`` pieces are needed.

    ``free_space`` is the room for it, None without a limit. ``in_time`` says of an order of so many pieces how many of them
    will be used before they expire: at the ``chance`` that is only named here, or as expected where it is None.
    """
    size = product.pack_size
    if need <= 0:
        return Decided(0, (), "what is there covers it: nothing to order")
    packs = -(-need // size)
    limited, words = [], [f"need {need}"]
    if packs * size != need:
        limited.append("pack")
        words.append(f"in packs of {size} that is {packs * size}")
    if packs < product.minimum_packs:
        packs = product.minimum_packs
        limited.append("minimum")
        words.append(f"at least {count(packs, 'pack')} at a time: {packs * size}")
    most = packs_that_fit(product, free_space)
    if most is not None and packs > most:
        packs = most
        limited.append("space")
        words.append(f"the fridge has room for {count(packs, 'pack')}: {packs * size}")
    used = in_time(packs * size)
    if used < packs * size:
        words.append(_spoilt(packs * size, used, chance) + f": {count(used // size, 'pack')}, {used // size * size}")
        packs = used // size
        limited.append("shelf_life")
    if "space" not in limited and "shelf_life" not in limited:
        better = cheaper(product, packs, lambda n: (most is None or n <= most) and in_time(n * size) == n * size)
        if better is not None:
            words.append(
                f"{count(better, 'pack')} cost {_cost(product, better):.2f}, {packs} would cost "
                f"{_cost(product, packs):.2f}: {better * size}"
            )
            packs = better
    if 0 < packs < product.minimum_packs:
        words.append(f"that is below the minimum of {count(product.minimum_packs, 'pack')}: ask the supplier")
    return Decided(packs, tuple(limited), "; ".join(words))


def packs_that_fit(product: Product, free_space: int | None) -> int | None:
    """How many whole packs there is room for; None where there is no limit."""
    if free_space is None or product.space == 0:
        return None
    return max(0, free_space) // (product.pack_size * product.space)


def cheaper(product: Product, packs: int, possible: Callable[[int], bool]) -> int | None:
    """A price break above ``packs`` at which the whole order costs no more: the least cost, of equals the most packs."""
    if not packs or product.pack_price is None:
        return None
    found = [
        (_cost(product, b.packs), -b.packs)
        for b in product.price_breaks
        if b.packs > packs and _cost(product, b.packs) <= _cost(product, packs) and possible(b.packs)
    ]
    return -min(found)[1] if found else None


def _cost(product: Product, packs: int) -> Decimal:
    price = product.price(packs)
    return Decimal(0) if price is None else price * packs


def _spoilt(pieces: int, used: int, chance: float | None) -> str:
    if chance is None:
        return f"{pieces - used} of {pieces} would expire unused"
    return f"only {used} of {pieces} are used before they expire at a chance of {100 * chance:.4g} %"
