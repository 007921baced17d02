"""A simulated year, held at every step against an account that knows nothing of the program's planning.

What is proved, after each event and before each take-out: no row of the plan uses a kit that is expired before the
booking ends, held, or not warm by its start; none serves two bookings; and as many kits are given out as a maximum
matching (networkx, over all kits out and in the fridge, promises kept first, blocked bookings included) could give,
seen from that moment. Nobody can serve a booking that comes in too late for any kit; that is what "from that moment"
means. Besides: the time that passes until the last moment named by the plan takes no kit from a booking; what was
received is on hand, out, used or discarded; the record proves itself; and an earlier plan, asked for as of its moment
at the end of the year, is the plan that was given then.

Sources: the rules are the program's own (docs), the feasibility of a pair is derived from them in year_of_bookings.py,
the maximum is networkx's (Hopcroft & Karp).
"""

import os
from collections.abc import Callable
from datetime import UTC, datetime

import pytest
from conftest import Line
from year_of_bookings import WARM, Year, practice

SEEDS = range(int(os.environ.get("STOCKROOM_YEARS", "1")))
"""How many years are played; DEVELOPERS.md says how to play many."""


@pytest.mark.long  # thousands of commands, each kind of which another test gives a server
@pytest.mark.parametrize(("zone", "seed"), [(z, s) for s in SEEDS for z in ("Europe/London", "America/New_York")])
def test_a_year_of_bookings(line: Callable[..., Line], monkeypatch: pytest.MonkeyPatch, zone: str, seed: int) -> None:
    # The first zone has the whole year with both clock changes, the second the months around the first of them.
    days, bookings = (362, 500) if zone == "Europe/London" else (70, 90)
    made = line(practice(zone), at="2026-01-05T08:00:00+00:00")
    year = Year(made, zone, seed, bookings, days)
    monkeypatch.setenv("STOCKROOM_BY", "AB")
    try:
        played(year, bookings)
    finally:
        year.frozen.stop()


def played(year: Year, bookings: int) -> None:
    """The year, then what must hold of all of it."""
    year.play()
    account = year.account
    assert len(account.bookings) >= 0.8 * bookings
    lots = sorted({(u.product, u.lot) for u in account.units})
    for product, lot in lots:
        units = [u for u in account.units if u.lot == lot]
        told = year.told("trace", "lot", product, lot).json
        gone = {how: sum(u.gone == how for u in units) for how in ("used", "discarded")}
        assert told["received"] == len(units)
        assert (told["used"], told["discarded"]) == (gone["used"], gone["discarded"])
        assert told["out"] == sum(u.out for u in units)
        assert told["on_hand"] == sum(u.gone is None and not u.out for u in units)
        assert (told["difference"], told["unaccounted"]) == (0, 0)
    used = sum(u.gone == "used" for u in account.units)
    assert used and {u.product for u in account.units} == set(WARM)
    assert year.told("records", "verify").json["faults"] == []
    for at, rows in year.plans:
        then = datetime.fromtimestamp(at, UTC).isoformat()
        assert year.told("warmup", "check", "--as-of", then).json["bookings"] == rows
    if bookings == 500:
        # It is a year in which things happen.
        for what, least in {
            "booking done": 250, "booking move": 20, "booking cancel": 10, "stock quarantine": 5, "practice closed": 5,
            "warmup back": 5, "warmup promise": 3, "booking missed": 10, "undo --why": 3, "stock discard": 5,
        }.items():  # fmt: skip
            assert year.counts.get(what, 0) >= least, (what, year.counts)
