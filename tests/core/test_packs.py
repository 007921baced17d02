"""The decision for whole tables of orders against that for one order. Derived: core/quantity.py, which has cases of its own."""

import random
from dataclasses import replace
from decimal import Decimal

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from stockroom.core.packs import packs_to_order, price_breaks
from stockroom.core.practice import PriceBreak, Product
from stockroom.core.quantity import decided


def some_product(c: random.Random) -> Product:
    breaks = tuple(
        PriceBreak(n, Decimal(c.randint(0, 60)) / c.choice([1, 4])) for n in c.sample(range(1, 30), c.randint(0, 4))
    )
    price = None if c.random() < 0.1 else Decimal(c.randint(0, 60)) / c.choice([1, 4])
    return Product(
        "P", "a product", "kit", "Any", pack_size=c.randint(1, 6), pack_price=price, minimum_packs=c.randint(1, 4),
        space=c.randint(0, 3), price_breaks=breaks,
    )  # fmt: skip


@settings(max_examples=300, deadline=None)
@given(st.integers(0, 2**32))
def test_a_table_of_orders_is_decided_as_each_one_is(seed: int) -> None:
    c = random.Random(seed)
    product = some_product(c)
    shape = (c.randint(1, 3), c.randint(1, 30))
    need = np.array([c.randint(-20, 120) for _ in range(shape[0] * shape[1])], np.int32).reshape(shape)
    room = c.choice([None, c.randint(-5, 300)])
    lasts = None if c.random() < 0.3 else np.array([[c.randint(-5, 150)] for _ in range(shape[0])], np.int32)
    limits = [] if room is None or not product.space else [np.full((1, 1), room // product.space, np.int32)]
    limits += [] if lasts is None else [lasts]
    size, least = product.pack_size, product.minimum_packs
    got = packs_to_order(
        need.copy(), np.full((shape[0], 1), size, np.int32), None if least == 1 else np.full((shape[0], 1), least, np.int32),
        limits, price_breaks(product),
    )  # fmt: skip
    for (row, run), wanted in np.ndenumerate(need):

        def in_time(pieces: int, row: int = row) -> int:
            return pieces if lasts is None else max(0, min(pieces, int(lasts[row, 0])))

        assert got[row, run] == decided(int(wanted), product, room, in_time).packs


def test_breaks_that_are_never_taken_are_left_out() -> None:
    # derived: nine packs cost 1,908, ten 1,800 and twelve 1,800; forty would cost 8,000, more than thirty-nine
    breaks = ((10, 180), (12, 150), (40, 200))
    product = Product("P", "a product", "kit", "Any", pack_price=Decimal(212))
    product = replace(product, price_breaks=tuple(PriceBreak(n, Decimal(price)) for n, price in breaks))
    found = price_breaks(product)
    assert [b.packs for b in found] == [12, 10]
    # 8 cost 1,696; 9 and 11 (1,980) more than twelve
    assert np.flatnonzero(found[0].cheaper).tolist() == [9, 10, 11]
    assert price_breaks(replace(product, pack_price=None)) == ()
