"""The made-up season adds up: every command as typed, played once more from the files alone.

Figures in the checks are the season's own (invented); a kit's rules are those of the practice file.
"""

from collections import Counter
from datetime import date, timedelta
from pathlib import Path

from sample_replay import (
    HOUR,
    NOW,
    PRACTICE,
    PROCEDURES,
    PRODUCTS,
    SAMPLE,
    SICK_DAY,
    checks,
    held_spans,
    local,
    options,
    played,
    season,
    store_rows,
    surgery_rows,
)

ALLOWED = {
    "stock opening": set(),
    "stock receive": {"--lot", "--expiry", "--quantity", "--into", "--arrived-at", "--order"},
    "stock use": {"--why"},
    "stock move": {"--quantity", "--from", "--to"},
    "stock release": {"--why", "--place", "--pull", "--quantity"},
    "stock discard": {"--quantity", "--place", "--pull", "--why"},
    "booking import": set(),
    "booking add": {"--start", "--patient", "--cycles"},
    "booking move": {"--start"},
    "booking cancel": {"--why"},
    "booking done": {"--cycles", "--used"},
    "booking missed": {"--kit"},
    "warmup pull": set(),
    "warmup back": set(),
    "practice closed": {"--why"},
    "fridge import": {"--fridge"},
    "fridge explain": {"--why"},
    "reorder place": set(),
}
"""The commands and options that the season may use."""


def test_commands_are_in_order_and_name_only_what_there_is():
    at = [t for t, _, _ in season()]
    assert at == sorted(set(at))
    assert at[-1] <= NOW.timestamp()
    for _, by, words in season():
        name = " ".join(words[:2])
        assert set(options(words)) <= ALLOWED[name], words
        assert not {"--at", "--by"} & set(words)
        if name in ("stock release", "stock discard"):
            (person,) = (p for p in PRACTICE["person"] if p["initials"] == by)
            assert "decide" in person["may"]
        if words[1] in ("import", "opening"):
            assert all((SAMPLE / w).is_file() for w in words[2:] if w.endswith(".csv"))


def test_no_logger_file_is_read_before_it_was_written():
    read = set()
    for at, _, words in season():
        if words[:2] == ["fridge", "import"]:
            for name in (w for w in words[2:] if w.endswith(".csv")):
                found = surgery_rows(SAMPLE / name) if "surgery" in name else store_rows(SAMPLE / name)[0]
                assert found[-1][0] <= at, name
                assert ("surgery" in name) == (options(words)["--fridge"] == "Surgery fridge")
                read.add(Path(name).name)
    assert read == {p.name for p in (SAMPLE / "logger").iterdir()}


def test_the_stock_adds_up():
    shelves = played()
    for product in PRODUCTS:
        here = sum(n for k, n in shelves.stock.items() if k[0] == product)
        out = sum(kit[0][0] == product for kit in shelves.out.values())
        assert shelves.came[product] == here + out + shelves.used[product] + shelves.gone[product], product


def test_a_kit_that_went_back_has_hours_enough_for_any_later_outing():
    shelves = played()
    ((lot, before),) = shelves.back.items()
    longest = max(at - since for since, at, key in shelves.outings if key == lot)
    assert before + longest <= PRODUCTS[lot[0]]["max_out_hours"] * HOUR


def test_every_past_booking_has_an_end():
    states = Counter(b["state"] for b in played().bookings.values() if b["start"] <= NOW.timestamp())
    assert set(states) == {"done", "missed", "cancelled"}
    assert states["missed"] == 2
    assert sum(states.values()) == 72  # 60 from the exports and 12 typed in


def test_the_season_tells_its_stories():
    typed = [(at, words) for at, _, words in season()]
    kinds = Counter(" ".join(w[:2]) for _, w in typed)
    assert {k: kinds[k] for k in ("practice closed", "warmup back", "stock release", "fridge explain")} == {
        "practice closed": 1,
        "warmup back": 1,
        "stock release": 1,
        "fridge explain": 3,
    }
    ends = [options(w)["--kit"] for _, w in typed if w[:2] == ["booking", "missed"]]
    assert sorted(ends) == ["opened", "sealed"]
    discards = [options(w) for _, w in typed if w[:2] == ["stock", "discard"]]
    assert sorted("--pull" in o for o in discards) == [False, True]
    # Nobody in: the booking of that day moves, and is done with the kit taken out the day before.
    (sick,) = (w[2] for at, w in typed if w[:2] == ["booking", "move"] and local(at).date() == SICK_DAY)
    pulls = [local(at).date() for at, w in typed if w[:3] == ["warmup", "pull", sick]]
    assert pulls == [SICK_DAY - timedelta(days=1)]
    assert local(played().done[sick]).date() == SICK_DAY + timedelta(days=2)


def test_an_order_came_and_another_is_overdue():
    placed = [(at, words) for at, _, words in season() if words[:2] == ["reorder", "place"]]
    came = [(at, options(w)["--order"]) for at, _, w in season() if "--order" in w]
    assert [o for _, o in came] == ["O-1"]
    assert [w[2] for _, w in placed] == ["Larkfen Cold Goods", "Oxbarrow Dry Goods"]
    for at, words in placed:
        (supplier,) = (s for s in PRACTICE["supplier"] if s["name"] == words[2])
        when = local(at)
        assert when.strftime("%a").lower() in supplier["order_days"]
        assert when.strftime("%H:%M") < supplier["cutoff"]
        due = when.date() + timedelta(days=supplier["lead_days"])
        assert due.strftime("%a").lower() in supplier["delivery_days"]
        for item in words[3:]:
            product, quantity = item.split("=")
            assert PRODUCTS[product]["supplier"] == supplier["name"]
            assert int(quantity) % PRODUCTS[product]["pack_size"] == 0
        if at < came[0][0]:
            assert due == local(came[0][0]).date()
        else:
            assert due < NOW.date()


def test_what_waits_today():
    shelves = played()
    today = [n for n, b in shelves.bookings.items() if local(b["start"]).date() == NOW.date()]
    assert sorted(shelves.out) == sorted(today)  # the kits that are out are those of today's bookings
    assert len(today) == 2
    held = {k: shelves.stock[k] for k in shelves.held if shelves.stock[k]}
    assert {k[0::2] for k in held} == {("TOOTH", "Store fridge")}
    assert sum(held.values()) == sum(n for k, n in shelves.stock.items() if k[0] == "TOOTH") == 4  # all there are
    soon = [
        b
        for b in shelves.bookings.values()
        if b["procedure"] == "single-tooth"
        and b["state"] == "booked"
        and NOW.timestamp() < b["start"] < NOW.timestamp() + 4 * 24 * HOUR
    ]
    assert soon
    ends = {k[:2] for k, n in shelves.stock.items() if n and shelves.expiry[k[:2]] <= date(2026, 4, 30)}
    assert ends == {("ARCH", "7G952"), ("BALM", "LB88")}


def test_nothing_touched_by_a_fault_left_while_a_check_had_not_been_made():
    """A check by hand with a bad min or max speaks of the whole time since the check before: no kit left in it."""
    pulled = [(at, words[2]) for at, _, words in season() if words[:2] == ["warmup", "pull"]]
    shelves = played()
    for fridge, product, start in held_spans():
        found = [c[0] for c in checks()[fridge]]
        before, after = max(t for t in found if t < start), min(t for t in found if t > start)
        between = [n for at, n in pulled if before < at < after]
        uses = {u["product"] for n in between for u in PROCEDURES[shelves.bookings[n]["procedure"]]["uses"]}
        assert product not in uses, (fridge, product)
