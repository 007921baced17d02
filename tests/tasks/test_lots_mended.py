"""What is kept about lots while an entry is written is what reading all of it anew says, at every instant.

A law: whatever was added in between, in any order and at any instant, be it before or after what is on record.
"""

import contextlib
from typing import Any

import pytest
from conftest import PRACTICE
from hypothesis import given, settings
from hypothesis import strategies as st

from stockroom.core.stock import FOREVER
from stockroom.store import entries, ledger
from stockroom.store.engine import Store
from stockroom.store.writing import Book, writing
from stockroom.tasks.act import Act
from stockroom.tasks.setup import init
from stockroom.tasks.shelves import lots_now, pulls_there

BEGAN = 1_772_000_000
STEPS = st.tuples(
    st.sampled_from(["receive", "expiry", "move", "hold", "release", "pull", "promise", "reverse"]),
    st.integers(0, 4),
    st.integers(-9, 9),
    st.integers(1, 3),
)


def step(book: Book, what: str, which: int, minutes: int, pieces: int) -> None:
    """Adds one thing to one of five lots at an instant around the entry's own."""
    lot = ledger.lot_key(book, "KIT", f"L{which}")
    fridge, other = ledger.placed(book, "Cold one", "fridge"), ledger.placed(book, "Cold two", "fridge")
    at = book.at + 60 * minutes
    if what == "receive":
        ledger.moved(book, lot, pieces, ledger.placed(book, "supplier", "outside"), fridge, "receive", at=at)
    elif what == "expiry":
        ledger.state_expiry(book, lot, None)
    elif what == "move":
        ledger.moved(book, lot, pieces, fridge, other, "move", at=at)
    elif what == "hold":
        ledger.held(book, lot, fridge, pieces, at, book.label)
    elif what == "release":
        ledger.released(book, lot, fridge, pieces, {book.label, "R-2"}, "x")
    elif what == "pull":
        _, place = ledger.pulled(book, lot, fridge)
        ledger.moved(book, lot, 1, fridge, place, "pull", at=at)
    elif what == "promise" and (out := ledger.pulls(book.conn)):
        ledger.promised(book, max(out), None)
    elif what == "reverse" and not entries.entries(book.conn, only=2)[0].reversed_by:
        entries.reverse(book, 2, "x")


def fresh(book: Book, until: int) -> Any:
    """The same without anything that was kept."""
    kept = {key: book.conn.info.pop(key, None) for key in ("lots", "pulls")}
    try:
        return dict(lots_now(book.conn, until)), dict(pulls_there(book.conn, until))
    finally:
        book.conn.info.update({key: value for key, value in kept.items() if value is not None})


class Dropped(Exception):
    """Nothing of an entry is to stay."""


@pytest.fixture(scope="module")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Store:
    """A practice, and an entry with two lots, one of them held."""
    where = tmp_path_factory.mktemp("mended") / "practice.db"
    store, _ = init(str(where), Act("AB", BEGAN, BEGAN), PRACTICE.encode(), "practice.toml")
    with writing(store, "receive", by="AB", at=BEGAN + 3600, now=BEGAN + 3600) as book:
        for what, which in (("receive", 0), ("receive", 1), ("hold", 1)):
            step(book, what, which, 0, 3)
    return store


@settings(max_examples=60, deadline=None)
@given(st.lists(STEPS, min_size=1, max_size=8), st.lists(st.integers(-12, 12), min_size=1, max_size=3))
def test_what_is_kept_is_what_reading_anew_says(begun: Store, steps: list[Any], looks: list[int]) -> None:
    moments = [BEGAN + 7200 + 60 * m for m in looks] + [FOREVER]
    entry = writing(begun, "move", by="AB", at=BEGAN + 7200, now=BEGAN + 7200)
    with contextlib.suppress(Dropped), entry as book:
        for one in steps:
            for at in moments[: 1 + one[1] % len(moments)]:
                lots_now(book.conn, at)
            step(book, *one)
            for at in moments:
                seen = dict(lots_now(book.conn, at)), dict(pulls_there(book.conn, at))
                assert repr(seen) == repr(fresh(book, at))  # a parcel is equal to itself alone
                assert list(seen[0]) == sorted(seen[0])
        raise Dropped
