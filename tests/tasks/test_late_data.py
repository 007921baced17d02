"""The law of late data: any split and order of the same readings gives the same figures, gaps, exposures and held stock."""

import random
from collections.abc import Iterator

import numpy as np
import pytest
from conftest import PRACTICE, Lender
from databases import copied
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from stockroom.core.exposure import Exposure
from stockroom.store import ledger
from stockroom.store.engine import opened
from stockroom.tasks import setup
from stockroom.tasks.act import Act
from stockroom.tasks.excursions_now import excursions
from stockroom.tasks.fridge_now import check
from stockroom.tasks.import_log import import_log
from stockroom.tasks.read_logs import Reading
from stockroom.tasks.receive import Delivery, receive
from stockroom.tasks.shelves import lots_now
from stockroom.tasks.trace import trace_lot

START = 1_772_409_600  # 2026-03-02T00:00Z
NOW = START + 40 * 86_400


@pytest.fixture(scope="module")
def begun(database: Lender, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A practice's database without readings, to be copied."""
    with database(tmp_path_factory.mktemp("practice")) as where:
        setup.init(where, Act("AB", START - 86_400, NOW), PRACTICE.encode(), "p.toml")
        yield where


def told(
    begun: str, parts: list[list[tuple[int, float]]]
) -> tuple[list[tuple], dict[tuple, int], list[tuple], list[Exposure]]:
    """(figures of each excursion, pieces held by lot and place, gaps, what each lot went through) after importing the
    parts in their order.
    """
    from datetime import date

    with copied(begun) as where:
        store = opened(where)
        for lot, at in (("EARLY", START - 3600), ("LATER", START + 9000)):
            receive(store, Act("AB", at, NOW), Delivery("KIT", lot, date(2027, 1, 31), "Cold one", 2))
        for part in parts:
            text = "timestamp,celsius\n" + "".join(f"{np.datetime64(START + 60 * m, 's')}Z,{v}\n" for m, v in part)
            import_log(store, Act("AB", NOW, NOW), [("log.csv", text.encode())], fridge="Cold one", reading=Reading())
        with store.reading() as conn:
            key = ledger.place_key(conn, "Cold one")
            assert key is not None
            found = excursions(conn, "Cold one", key)
            figures = sorted((e.source, e.direction, e.limit, e.event.figures()) for e in found if e.event)
            gaps = [(g.start, g.end) for g in check(conn, START + 90_000).fridges[0].gaps]
            held = {
                (x.lot.code, p.place): sum(q.quantity for q in x.state.parcels if q.held)
                for x in lots_now(conn).values()
                for p in x.state.parcels
                if p.held
            }
        exposures = [trace_lot(store, "KIT", lot, START + 90_000).exposure for lot in ("EARLY", "LATER")]
        return figures, held, gaps, exposures


values = st.sampled_from([1.5, 3.0, 4.0, 5.9, 6.0, 6.4, 7.0, 8.5])


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    readings=st.dictionaries(st.integers(0, 60).map(lambda i: i * 10), values, min_size=4, max_size=40),
    cuts=st.integers(1, 4),
    seed=st.integers(0, 10_000),
)
def test_any_split_and_order_tells_the_same(begun: str, readings: dict[int, float], cuts: int, seed: int) -> None:
    whole = sorted(readings.items())
    shuffled = random.Random(seed)
    parts: list[list[tuple[int, float]]] = [[] for _ in range(cuts + 1)]
    for reading in whole:
        parts[shuffled.randrange(cuts + 1)].append(reading)
    parts = [p for p in parts if p]
    shuffled.shuffle(parts)
    at_once, piecemeal = told(begun, [whole]), told(begun, parts)
    assert piecemeal[0] == at_once[0]
    assert piecemeal[2:] == at_once[2:]
    # Holds only accumulate: what is held when all came at once is held in any order.
    for key, pieces in at_once[1].items():
        assert piecemeal[1].get(key, 0) >= pieces
