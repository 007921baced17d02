"""From what is needed to packs, as core/quantity.py decides it for one order, for whole tables of orders at once."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from stockroom.core.practice import Product

Counts = npt.NDArray[np.int32]


@dataclass(frozen=True, slots=True, eq=False)
class Break:
    """A price break: from so many ``packs`` on. ``cheaper[p]`` for 0 to ``packs`` says of an order of p packs that so many
    cost no more.
    """

    packs: int
    cheaper: npt.NDArray[np.bool_]


def price_breaks(product: Product) -> tuple[Break, ...]:
    """The price breaks of a product that are ever taken: the cheapest whole order first, of equals the larger."""
    if product.pack_price is None:
        return ()
    wholes = sorted((_whole(product, b.packs), -b.packs) for b in product.price_breaks)
    tiers = sorted({1, *(b.packs for b in product.price_breaks)})
    found = []
    for whole, less in wholes:
        table = np.zeros(1 - less, np.bool_)
        for first, after in zip(tiers, [*tiers[1:], -less], strict=True):
            each = _whole(product, first) / first
            enough = first if each * first >= whole else -(-whole // each) if each else after
            table[int(max(first, enough)) : min(after, -less)] = True
        if table.any():
            found.append(Break(-less, table))
    return tuple(found)


def _whole(product: Product, packs: int) -> Fraction:
    return Fraction(product.price(packs) or 0) * packs


def packs_to_order(
    need: Counts,
    pack: Counts,
    least: Counts | None = None,
    limits: Sequence[Counts] = (),
    breaks: Sequence[Break] = (),
) -> Counts:
    """Packs for ``need`` pieces each (the table is used up): whole packs of ``pack``, at least ``least`` of them, no more
    pieces than each of ``limits`` allows (room, what will be used in time), and up to a price break where nothing cut it.
    All are tables that fit each other's shapes.
    """
    packs = need
    packs += pack - 1
    np.floor_divide(packs, pack, out=packs)
    np.maximum(packs, 0, out=packs)
    if least is not None:
        np.copyto(packs, least, where=(packs > 0) & (packs < least))
    asked = packs.copy() if breaks and limits else packs
    for pieces in limits:
        np.minimum(packs, np.maximum(pieces // pack, 0), out=packs)
    if not breaks:
        return packs
    free = asked == packs
    found = packs.copy()
    for b in breaks:
        take = b.cheaper[np.minimum(packs, b.packs)] & free
        for pieces in limits:
            take &= b.packs * pack <= pieces
        found[take] = b.packs
        free &= ~take
    return found
