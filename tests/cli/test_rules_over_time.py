"""Rules that change, data that comes late, questions about the past: each span is judged by the rules of its time."""

from collections.abc import Callable

import pytest
from conftest import PRACTICE, Line
from test_fridge import excursions, series, states, stock

LATER = "2026-03-06T12:00:00+00:00"


def test_a_later_practice_file_does_not_rewrite_the_past(cli: Line) -> None:
    stock(cli)
    cli.ok("fridge", "log", "4", "--fridge", "Cold one", "--at", "2026-03-02T09:00")
    series(cli, "log.csv", "2026-03-02T07:10:00", 30, [4.0, 9.0, 9.0, 4.0])
    cli.ok("fridge", "import", "log.csv", "--fridge", "Cold one", now=LATER)
    touched = next(e["id"] for e in excursions(cli, as_of="2026-03-02T12:00") if e["lots"])
    cli.ok("fridge", "decide", touched, "--release", "--why", "x", "--by", "AB", "--at", "2026-03-02T12:00", now=LATER)
    before = cli.ask("fridge", "check", "--as-of", "2026-03-04T07:00", now=LATER)
    other = PRACTICE.replace("logger_minutes = 10", 'logger_minutes = 10\nmax_gap_minutes = 20\nchecks = "twice"')
    cli.file("other.toml", other)
    cli.ok("practice", "load", "other.toml", "--yes", "--at", "2026-03-05T08:00", now=LATER)
    assert cli.ask("fridge", "check", "--as-of", "2026-03-04T07:00", now=LATER) == before
    # derived: until the fifth one opening check a day was due; the fifth's midnight lies before the change
    missed = cli.ask("fridge", "check", "--fridge", "Cold one", "--as-of", "2026-03-06T10:00", now=LATER)["fridges"][0][
        "missed_checks"
    ]
    assert missed == [{"day": f"2026-03-0{d}", "check": "opening"} for d in (3, 4, 5)]


def test_a_trace_is_judged_by_the_rules_of_its_time_and_knows_nothing_of_the_future(cli: Line) -> None:
    stock(cli, at="2026-03-02T07:00")
    series(cli, "log.csv", "2026-03-02T06:00:00", 10, [5.0] * 13)  # 06:00 to 08:00 UTC
    cli.ok("fridge", "import", "log.csv", "--fridge", "Cold one")
    cli.file("tight.toml", PRACTICE.replace("high = 6.0", "high = 4.5"))
    cli.ok("practice", "load", "tight.toml", "--yes", "--at", "2026-03-02T08:00")  # 07:00 UTC, in the middle
    assert cli.ask("trace", "lot", "KIT", "A1", "--as-of", "2026-03-02T09:00")["exposure"]["minutes_warm"] == 60.0
    series(cli, "more.csv", "2026-03-02T08:10:00", 10, [9.0])
    cli.ok("fridge", "import", "more.csv", "--fridge", "Cold one")
    found = cli.ask("trace", "lot", "KIT", "A1", "--as-of", "2026-03-02T08:05:00Z")["exposure"]
    assert (found["max_celsius"], found["minutes_unmonitored"]) == (5.0, 5.0)


def test_an_allowance_is_used_up_over_all_fridges(line: Callable[..., Line]) -> None:
    cli = line(
        PRACTICE.replace(
            'source = "label"', 'source = "label"\nallowance = { up_to = 8.0, minutes = 60, source = "letter" }'
        )
    )
    stock(cli)
    series(cli, "one.csv", "2026-03-02T07:10:00", 10, [4.0, 7.0, 7.0, 7.0, 4.0])  # at most 40
    cli.ok("fridge", "import", "one.csv", "--fridge", "Cold one")
    cli.ok("stock", "move", "--all", "--from", "Cold one", "--to", "Cold two", "--at", "2026-03-02T09:00")
    cli.now = "2026-03-02T12:00:00+00:00"
    assert [s[3] for s in states(cli)] == ["usable"]
    series(cli, "two.csv", "2026-03-02T10:10:00", 10, [4.0, 7.0, 7.0, 7.0, 4.0])  # 40 more
    cli.ok("fridge", "import", "two.csv", "--fridge", "Cold two")
    assert [s[3] for s in states(cli)] == ["quarantined"]


def test_an_excursion_that_late_data_begins_earlier_holds_from_its_earlier_start(both: Line) -> None:
    stock(both, at="2026-03-02T07:00")
    series(both, "late.csv", "2026-03-02T07:20:00", 10, [9.0, 9.0, 4.0])
    series(both, "early.csv", "2026-03-02T06:50:00", 10, [4.0, 9.0, 9.0])
    both.ok("fridge", "import", "late.csv", "--fridge", "Cold one")
    numbers = {e["id"] for e in excursions(both)}
    both.ok("fridge", "import", "early.csv", "--fridge", "Cold one")
    assert {e["id"] for e in excursions(both)} == numbers
    at_the_time = both.ask("stock", "list", "--as-of", "2026-03-02T07:05:00Z")["lots"]
    assert [(r["quantity"], r["state"]) for r in at_the_time] == [(4, "quarantined")]
    assert {e["id"] for e in excursions(both, as_of="2026-03-02T07:05:00Z")} == numbers


def test_two_anchors_in_one_spell_the_lower_number_stands(cli: Line) -> None:
    series(cli, "a.csv", "2026-03-02T06:00:00", 10, [4.0, 9.0])
    series(cli, "b.csv", "2026-03-02T08:00:00", 10, [9.0, 4.0])
    cli.ok("fridge", "import", "a.csv", "--fridge", "Cold one")
    cli.ok("fridge", "import", "b.csv", "--fridge", "Cold one")
    assert [e["id"] for e in excursions(cli)] == ["E-1", "E-2"]
    series(cli, "c.csv", "2026-03-02T06:20:00", 10, [9.0] * 10)
    cli.ok("fridge", "import", "c.csv", "--fridge", "Cold one")
    assert [(e["id"], e["linked"], e["end"] is None) for e in excursions(cli)] == [("E-1", ["E-2"], False)]
    cli.ok("fridge", "decide", "E-2", "--release", "--why", "nothing was inside", "--by", "AB")
    assert [(e["id"], e["state"]) for e in excursions(cli)] == [("E-1", "decided")]


def test_a_late_move_marks_the_pieces_that_were_elsewhere(cli: Line) -> None:
    stock(cli, n=5)
    series(cli, "log.csv", "2026-03-02T07:10:00", 10, [4.0, 9.0, 9.0, 4.0])
    cli.ok("fridge", "import", "log.csv", "--fridge", "Cold one")
    cli.ok(
        "stock",
        "move",
        "KIT",
        "A1",
        "--quantity",
        2,
        "--from",
        "Cold one",
        "--to",
        "Cold two",
        "--at",
        "2026-03-02T08:05",
    )
    (e,) = [e for e in excursions(cli) if e["lots"]]
    assert (e["held"], e["held_elsewhere"], e["supported"]) == (5, 2, False)
    cli.ok("stock", "release", "KIT", "A1", "--place", "Cold two", "--why", "it was here", "--by", "AB")
    assert [(s[1], s[2], s[3]) for s in states(cli)] == [("Cold one", 3, "quarantined"), ("Cold two", 2, "usable")]


def test_readings_that_change_nothing_out_of_range_warn_of_nothing(cli: Line) -> None:
    series(cli, "log.csv", "2026-03-02T07:10:00", 10, [4.0, 9.0, 4.0])
    cli.ok("fridge", "import", "log.csv", "--fridge", "Cold one")
    series(cli, "clean.csv", "2026-03-02T06:00:00", 10, [4.0, 4.0, 4.0])
    said = cli("fridge", "import", "clean.csv", "--fridge", "Cold one", "--json")
    assert (said.code, said.json["excursions"], said.json["warnings"]) == (0, [], [])


def test_before_a_reading_ends_it_a_silence_is_a_finding_and_no_excursion(cli: Line) -> None:
    stock(cli, at="2026-03-02T06:00")
    cli.file("log.csv", "timestamp,celsius\n2026-03-01T20:00:00Z,4\n2026-03-02T06:00:00Z,4\n2026-03-02T06:10:00Z,4\n")
    cli.ok("fridge", "import", "log.csv", "--fridge", "Cold one")
    during = cli.ask("fridge", "check", "--fridge", "Cold one", "--as-of", "2026-03-02T05:59:00Z")
    assert during["fridges"][0]["excursions"] == []
    assert (during["attention"], during["fridges"][0]["gaps"][0]["end"]) == (1, None)
    assert [e["source"] for e in excursions(cli)] == ["gap"]


@pytest.mark.parametrize("returnable", [True, False])
def test_a_kit_that_went_back_is_the_one_that_keeps_its_hours_and_its_hold(
    line: Callable[..., Line], returnable: bool
) -> None:
    cli = line(PRACTICE.replace("max_out_hours = 72", f"max_out_hours = 72\nreturnable = {str(returnable).lower()}"))
    stock(cli, n=2)
    cli.ok("warmup", "pull", "--product", "KIT", "--lot", "A1", "--at", "2026-03-02T08:00")
    cli.ok("warmup", "back", "P-1", "--at", "2026-03-02T14:00", now="2026-03-02T13:00:00+00:00")
    cli.now = "2026-03-03T09:00:00+00:00"
    pulls = [cli("warmup", "pull", "--product", "KIT", "--lot", "A1", "--json") for _ in range(2)]
    told = [p.json["pulls"][0]["out_before"] for p in pulls]
    if returnable:
        assert told == ["P-1", None]
        assert [p.code for p in pulls] == [0, 0]
    else:
        # The one that never left goes first; the held one is taken only by name, and that is named.
        assert told == [None, "P-1"]
        assert [p.code for p in pulls] == [0, 1]
        assert any("quarantine" in w for w in pulls[1].json["warnings"])
