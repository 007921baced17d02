"""Fridges through the command line: checks by hand, logger files, excursions, holds and decisions."""

from collections.abc import Callable

import pytest
from conftest import PRACTICE, Line


def stock(line: Line, n: int = 4, at: str = "2026-03-02T08:00", lot: str = "A1", into: str = "Cold one") -> None:
    line.ok(
        "stock", "receive", "KIT", "--lot", lot, "--expiry", "2026-12-31", "--quantity", n, "--into", into, "--at", at
    )


def series(line: Line, name: str, start: str, step: int, values: list[float]) -> str:
    """A logger file in UTC: one value every ``step`` minutes from ``start``."""
    from datetime import datetime, timedelta

    first = datetime.fromisoformat(start)
    rows = [f"{(first + timedelta(minutes=step * i)).strftime('%Y-%m-%dT%H:%M:%SZ')},{v}" for i, v in enumerate(values)]
    return line.file(name, "timestamp,celsius\n" + "\n".join(rows) + "\n")


def excursions(line: Line, **more: str) -> list[dict]:
    args = [x for k, v in more.items() for x in (f"--{k.replace('_', '-')}", v)]
    found = line.ask("fridge", "check", *args)["fridges"]
    return [e for f in found for e in f["excursions"]]


def states(line: Line) -> list[tuple[str, str, int, str]]:
    return [(r["lot"], r["place"], r["quantity"], r["state"]) for r in line.ask("stock", "list")["lots"]]


# -- checks by hand


@pytest.mark.parametrize(
    ("typed", "celsius", "in_range"),
    [
        ("2.0", 2.0, True),
        ("8.0", 8.0, True),
        ("8.001", 8.001, False),
        ("1.9", 1.9, False),
        ("-0.4", -0.4, False),
        ("4,4", 4.4, True),
    ],
)
def test_limits_are_inclusive_and_a_negative_number_works_as_typed(
    cli: Line, typed: str, celsius: float, in_range: bool
) -> None:
    # rules of temperatures: limits inclusive (common practice); derived
    said = cli("fridge", "log", typed, "--fridge", "Cold one", "--json")
    assert (said.json["celsius"], said.json["in_range"], said.code) == (celsius, in_range, 0 if in_range else 1)


@pytest.mark.parametrize(
    ("typed", "celsius", "in_range"), [("35.6", 2.0, True), ("46.4", 8.0, True), ("46.5", 8.056, False)]
)
def test_fahrenheit(cli: Line, typed: str, celsius: float, in_range: bool) -> None:
    # derived: (F - 32) x 5/9; 35.6 -> 2.000, 46.4 -> 8.000, 46.5 -> 8.0556
    said = cli.ask("fridge", "log", typed, "--fahrenheit", "--fridge", "Cold one")
    assert (said["celsius"], said["in_range"]) == (celsius, in_range)


def test_a_check_is_judged_by_the_strictest_limit_of_what_is_inside(both: Line) -> None:
    assert both.ask("fridge", "log", "7.0", "--fridge", "Cold one", "--at", "2026-03-02T08:00")["in_range"] is True
    stock(both, at="2026-03-02T08:10")  # kept to 6.0
    said = both("fridge", "log", "7.0", "--fridge", "Cold one", "--at", "2026-03-02T08:20", "--json")
    assert (said.json["in_range"], said.json["excursion"]) == (False, "E-1")
    assert states(both) == [("A1", "Cold one", 4, "quarantined")]
    assert excursions(both)[0]["limit_celsius"] == 6.0


def test_a_check_whose_max_was_out_holds_since_the_check_before(both: Line) -> None:
    # rules of excursions: source hand, minutes null, at most the span since the previous check that reset min and max
    stock(both)
    both.ok("fridge", "log", "4.0", "--min", "3", "--max", "5", "--fridge", "Cold one", "--at", "2026-03-02T08:30")
    said = both(
        "fridge",
        "log",
        "4.2",
        "--min",
        "3",
        "--max",
        "9.1",
        "--fridge",
        "Cold one",
        "--at",
        "2026-03-03T08:30",
        now="2026-03-03T08:00:00+00:00",
    )
    assert said.code == 1
    found = both.ask("fridge", "check", "--fridge", "Cold one", now="2026-03-03T08:00:00+00:00")["fridges"][0][
        "excursions"
    ]
    assert [
        (e["source"], e["limit_celsius"], e["minutes"], e["minutes_at_most"], e["extreme_celsius"]) for e in found
    ] == [
        ("hand", 6.0, None, 1440.0, 9.1),
        ("hand", 8.0, None, 1440.0, 9.1),
    ]
    assert found[0]["lots"] == [{"product": "KIT", "lot": "A1", "quantity": 4}]
    assert found[1]["lots"] == []  # an excursion of a lot is judged by the product's own range


def test_min_above_max_and_an_impossible_reading_are_refused(cli: Line) -> None:
    for args in (("4", "--min", "6", "--max", "5"), ("400",), ("-61",), ("four",), ("nan",), ("1e309",)):
        said = cli("fridge", "log", *args, "--fridge", "Cold one")
        assert said.code == 3, args
        assert said.out == ""
    assert len(cli.ask("records", "history")["entries"]) == 1


def test_a_likely_slip_is_recorded_as_doubtful_where_nobody_can_be_asked(cli: Line) -> None:
    said = cli("fridge", "log", "41", "--fridge", "Cold one", "--json")
    assert said.code == 1
    assert any("unusual" in w for w in said.json["warnings"])
    cli.ok("undo", "--why", "typed 41 for 4.1")
    assert cli.ask("fridge", "log", "4.1", "--fridge", "Cold one")["in_range"] is True
    said = cli("fridge", "log", "9.2", "--fridge", "Cold one", "--json")  # 5.1 away from the last
    assert any("far from the last reading" in w for w in said.json["warnings"])


def test_more_than_one_fridge_wants_a_name(cli: Line) -> None:
    said = cli("fridge", "log", "4")
    assert said.code == 3
    assert "Cold one" in said.err and "Cold two" in said.err
    said = cli("fridge", "log", "4", "--fridge", "Cold on")
    assert said.code == 3
    assert 'did you mean "Cold one"' in said.err


def test_a_missed_check_is_missed_once_the_middle_of_the_day_is_past_and_until_explained(cli: Line) -> None:
    # published: CDC toolkit, one check with min and max at the start of each staffed day; Tuesday 08-18, middle 13:00
    cli.ok("fridge", "log", "4", "--fridge", "Cold one", "--at", "2026-03-02T09:00")
    check = ("fridge", "check", "--fridge", "Cold one")
    before = cli.ask(*check, "--as-of", "2026-03-03T12:59", now="2026-03-05T08:00:00+00:00")
    after = cli.ask(*check, "--as-of", "2026-03-03T13:00", now="2026-03-05T08:00:00+00:00")
    assert before["fridges"][0]["missed_checks"] == []
    assert after["fridges"][0]["missed_checks"] == [{"day": "2026-03-03", "check": "opening"}]
    assert after["attention"] == 1
    cli.ok(
        "fridge",
        "explain",
        "2026-03-03",
        "--why",
        "power cut",
        "--fridge",
        "Cold one",
        "--at",
        "2026-03-03T12:00",
        now="2026-03-05T08:00:00+00:00",
    )
    assert cli.ask(*check, "--as-of", "2026-03-03T13:00", now="2026-03-05T08:00:00+00:00")["attention"] == 0


# -- logger files


def test_minutes_between_crossings_and_at_most(both: Line) -> None:
    # derived: 7.9 8.1 8.6 9.0 8.4 7.8 every 5 minutes against 8: 20.83 minutes, at most 25
    file = series(both, "log.csv", "2026-03-02T06:00:00", 5, [7.9, 8.1, 8.6, 9.0, 8.4, 7.8])
    said = both.ask("fridge", "import", file, "--fridge", "Cold one")
    assert (said["lines"], said["added"], said["already_there"], said["conflicts"], said["rejected"]) == (
        6,
        6,
        0,
        [],
        [],
    )
    assert said["excursions"] == ["E-1"]
    (e,) = excursions(both)
    assert (e["minutes"], e["minutes_at_most"], e["extreme_celsius"], e["direction"], e["source"]) == (
        20.83,
        25.0,
        9.0,
        "warm",
        "logger",
    )


def test_degree_minutes(cli: Line) -> None:
    # derived: 4.0 6.0 6.0 4.0 every 10 minutes against 5: 20 minutes, at most 30, 15 degree-minutes, extreme 6.0
    practice = PRACTICE.replace("high = 6.0", "high = 5.0")
    cli.file("tighter.toml", practice)
    cli.ok("practice", "load", "tighter.toml", "--yes", "--at", "2026-01-06T08:00")
    stock(cli, at="2026-03-02T06:30")
    series(cli, "log.csv", "2026-03-02T06:00:00", 10, [4.0, 6.0, 6.0, 4.0])
    cli.ok("fridge", "import", "log.csv", "--fridge", "Cold one")
    (e,) = excursions(cli)
    assert (e["limit_celsius"], e["minutes"], e["minutes_at_most"], e["degree_minutes"], e["extreme_celsius"]) == (
        5.0,
        20.0,
        30.0,
        15.0,
        6.0,
    )


def test_a_second_import_adds_nothing_and_another_value_is_a_conflict(both: Line) -> None:
    file = series(both, "log.csv", "2026-03-02T06:00:00", 10, [4.0, 4.1, 4.2])
    both.ok("fridge", "import", file, "--fridge", "Cold one")
    again = both.ask("fridge", "import", file, "--fridge", "Cold one")
    assert (again["added"], again["already_there"]) == (0, 3)
    both.file("other.csv", "timestamp,celsius\n2026-03-02T06:10:00Z,4.5\n2026-03-02T06:30:00Z,4.5\n")
    said = both("fridge", "import", "other.csv", "--fridge", "Cold one", "--json")
    assert said.code == 1
    assert said.json["conflicts"] == [
        {"line": 2, "at": "2026-03-02T06:10:00Z", "kept_celsius": 4.1, "other_celsius": 4.5}
    ]
    assert said.json["added"] == 1


def test_a_fridge_alarmed_at_8_cannot_hide_7_from_a_kit_kept_to_6(both: Line) -> None:
    stock(both)
    series(both, "log.csv", "2026-03-02T07:10:00", 10, [4.0, 7.0, 7.0, 4.0])
    both.ok("fridge", "import", "log.csv", "--fridge", "Cold one")
    (e,) = excursions(both)
    assert (e["limit_celsius"], e["lots"]) == (6.0, [{"product": "KIT", "lot": "A1", "quantity": 4}])
    assert states(both) == [("A1", "Cold one", 4, "quarantined")]


def test_who_was_there_is_held_and_who_left_or_came_is_spared_to_the_second(both: Line) -> None:
    # 4.0 at 07:10, 8.0 at 07:20: crosses 6.0 at 07:15:00 UTC = 08:15:00 in Amsterdam; back at 07:45
    stock(both, n=3, at="2026-03-02T08:00", lot="LEFT")
    stock(both, n=3, at="2026-03-02T08:00", lot="STAYED")
    both.ok(
        "stock",
        "move",
        "KIT",
        "LEFT",
        "--quantity",
        2,
        "--from",
        "Cold one",
        "--to",
        "Cold two",
        "--at",
        "2026-03-02T08:15:00",
    )
    both.ok(
        "stock",
        "move",
        "KIT",
        "LEFT",
        "--quantity",
        1,
        "--from",
        "Cold one",
        "--to",
        "Cold two",
        "--at",
        "2026-03-02T08:15:01",
    )
    stock(both, n=1, at="2026-03-02T08:45:00", lot="CAMEIN")
    stock(both, n=1, at="2026-03-02T08:45:01", lot="CAMELATER")
    series(both, "log.csv", "2026-03-02T07:10:00", 10, [4.0, 8.0, 8.0, 8.0, 4.0])
    both.ok("fridge", "import", "log.csv", "--fridge", "Cold one", now="2026-03-02T12:00:00+00:00")
    assert states(both) == [
        ("CAMEIN", "Cold one", 1, "quarantined"),
        ("CAMELATER", "Cold one", 1, "usable"),
        ("LEFT", "Cold two", 1, "quarantined"),
        ("LEFT", "Cold two", 2, "usable"),
        ("STAYED", "Cold one", 3, "quarantined"),
    ]
    # As it was then: held from the excursion's start, where it stood.
    then = both.ask("stock", "list", "--as-of", "2026-03-02T08:15:00")["lots"]
    assert [(r["lot"], r["place"], r["quantity"], r["state"]) for r in then if r["lot"] == "LEFT"] == [
        ("LEFT", "Cold one", 1, "quarantined"),
        ("LEFT", "Cold two", 2, "usable"),
    ]


def test_a_kit_that_is_out_or_used_by_now_is_held_or_named_on_its_booking(both: Line) -> None:
    stock(both, n=3, at="2026-03-02T08:00")
    both.ok("warmup", "pull", "--product", "KIT", "--lot", "A1", "--at", "2026-03-02T09:00")
    both.ok("booking", "add", "white", "--start", "2026-03-03T09:30", "--patient", "P-1", "--at", "2026-03-02T08:30")
    both.ok("warmup", "pull", "B-1", "--at", "2026-03-02T09:05")
    both.ok("booking", "done", "B-1", "--pull", "P-2", now="2026-03-03T12:00:00+00:00")
    series(both, "log.csv", "2026-03-02T07:10:00", 10, [4.0, 8.0, 8.0, 4.0])
    both.ok("fridge", "import", "log.csv", "--fridge", "Cold one", now="2026-03-03T13:00:00+00:00")
    rows = both.ask("stock", "list", now="2026-03-03T13:00:00+00:00")["lots"]
    assert [(r["place"], r["quantity"], r["state"]) for r in rows if r["product"] == "KIT"] == [
        ("Cold one", 1, "quarantined"),
        ("out", 1, "quarantined"),
    ]
    used = both.ask("trace", "booking", "B-1", now="2026-03-03T13:00:00+00:00")["used"]
    assert [u["causes"] for u in used if u["product"] == "KIT"] == [["E-1"]]


def test_a_dead_battery_is_held_for_a_decision_unless_a_check_vouches_for_it(both: Line) -> None:
    # rules of excursions: a gap longer than gap_hold_hours (4) that no check with min and max brackets
    stock(both, at="2026-03-02T06:00")
    both.file(
        "log.csv",
        "timestamp,celsius\n"
        + "".join(f"2026-03-02T0{h}:{m:02}:00Z,4.0\n" for h in (5,) for m in range(0, 60, 10))
        + "2026-03-02T11:00:00Z,4.0\n2026-03-02T11:10:00Z,4.0\n",
    )
    noon = "2026-03-02T12:00:00+00:00"
    said = both("fridge", "import", "log.csv", "--fridge", "Cold one", "--json", now=noon)
    assert said.json["gaps"] == [{"start": "2026-03-02T05:50:00Z", "end": "2026-03-02T11:00:00Z", "minutes": 310.0}]
    found = both.ask("fridge", "check", "--fridge", "Cold one", now=noon)["fridges"][0]["excursions"]
    assert [(e["source"], e["direction"], e["minutes"], e["minutes_at_most"], e["extreme_celsius"]) for e in found] == [
        ("gap", None, None, 310.0, None)
    ]
    assert states(both) == [("A1", "Cold one", 4, "quarantined")]


def test_a_check_with_min_and_max_around_a_gap_vouches_for_it(cli: Line) -> None:
    stock(cli, at="2026-03-02T06:00")
    noon = "2026-03-02T12:00:00+00:00"
    cli.ok(
        "fridge", "log", "4", "--min", "3", "--max", "5", "--fridge", "Cold one", "--at", "2026-03-02T06:30", now=noon
    )
    cli.ok(
        "fridge", "log", "4", "--min", "3", "--max", "5", "--fridge", "Cold one", "--at", "2026-03-02T12:30", now=noon
    )
    cli.file("log.csv", "timestamp,celsius\n2026-03-02T05:40:00Z,4\n2026-03-02T05:50:00Z,4\n2026-03-02T11:00:00Z,4\n")
    cli.ok("fridge", "import", "log.csv", "--fridge", "Cold one", now=noon)
    assert excursions(cli) == []
    assert states(cli) == [("A1", "Cold one", 4, "usable")]


def test_spells_closer_than_settle_are_one_and_apart_are_two(cli: Line) -> None:
    # settle_minutes 60: out 10 of every 40 minutes is one event; derived
    near = [4.0, 9.0, 4.0, 4.0, 4.0, 9.0, 4.0]
    series(cli, "near.csv", "2026-03-02T00:00:00", 10, near)
    series(cli, "far.csv", "2026-03-02T03:00:00", 10, [9.0] + [4.0] * 8 + [9.0, 4.0])
    cli.ok("fridge", "import", "near.csv", "--fridge", "Cold one")
    assert len(excursions(cli)) == 1
    cli.ok("fridge", "import", "far.csv", "--fridge", "Cold one")
    assert [e["id"] for e in excursions(cli)] == ["E-1", "E-2", "E-3"]


def test_one_decision_answers_for_the_whole_event(both: Line) -> None:
    stock(both)
    series(both, "log.csv", "2026-03-02T07:10:00", 10, [4.0, 9.0, 9.0, 4.0])
    both.ok("fridge", "import", "log.csv", "--fridge", "Cold one")
    assert [(e["id"], e["limit_celsius"], e["state"]) for e in excursions(both)] == [
        ("E-1", 6.0, "open"),
        ("E-2", 8.0, "open"),
    ]
    touched = next(e["id"] for e in excursions(both) if e["lots"])
    assert both("fridge", "decide", touched, "--release", "--why", "x").code == 3  # initials typed, not taken along
    said = both.ask(
        "fridge", "decide", touched, "--release", "--why", "maker answered", "--answer", "ref 7", "--by", "CD"
    )
    assert said["quantity"] == 4
    assert {e["state"] for e in excursions(both)} == {"decided"}
    assert states(both) == [("A1", "Cold one", 4, "usable")]
    both.ok("fridge", "log", "4.0", "--fridge", "Cold one")  # the logger is silent since: a check by hand answers that
    assert both("fridge", "check").code == 0


def test_late_readings_that_change_a_decided_excursion_open_it_again(both: Line) -> None:
    stock(both)
    series(both, "log.csv", "2026-03-02T07:10:00", 10, [4.0, 9.0, 9.0, 4.0])
    both.ok("fridge", "import", "log.csv", "--fridge", "Cold one")
    touched = next(e["id"] for e in excursions(both) if e["lots"])
    both.ok("fridge", "decide", touched, "--release", "--why", "maker answered", "--by", "CD")
    series(both, "more.csv", "2026-03-02T07:25:00", 10, [12.0, 9.0])
    both.ok("fridge", "import", "more.csv", "--fridge", "Cold one")
    e = next(e for e in excursions(both) if e["id"] == touched)
    assert (e["state"], e["reopened"], e["extreme_celsius"]) == ("open", True, 12.0)
    assert states(both) == [("A1", "Cold one", 4, "quarantined")]


def test_a_reading_taken_back_leaves_the_hold_until_somebody_closes_it(cli: Line) -> None:
    # nothing computed ever clears a hold
    stock(cli)
    cli.ok("fridge", "log", "9.9", "--fridge", "Cold one", "--at", "2026-03-02T09:00")
    cli.ok("undo", "--why", "read the wrong fridge")
    assert states(cli) == [("A1", "Cold one", 4, "quarantined")]
    found = [e for e in excursions(cli) if e["lots"]]
    assert [e["supported"] for e in found] == [False]
    cli.ok("fridge", "decide", found[0]["id"], "--release", "--why", "it was the other fridge", "--by", "AB")
    assert states(cli) == [("A1", "Cold one", 4, "usable")]
    # ids and states only accumulate: what was decided stays to be seen
    assert [(e["id"], e["state"], e["supported"]) for e in excursions(cli)] == [(found[0]["id"], "decided", False)]


def test_an_allowance_keeps_a_warm_excursion_without_quarantine_until_it_is_used_up(line: Callable[..., Line]) -> None:
    cli = line(
        PRACTICE.replace(
            'source = "label"',
            'source = "label"\nallowance = { up_to = 8.0, minutes = 70, source = "maker\'s letter" }',
        )
    )
    stock(cli)
    series(cli, "one.csv", "2026-03-02T07:10:00", 10, [4.0, 7.0, 7.0, 4.0])  # at most 30
    cli.ok("fridge", "import", "one.csv", "--fridge", "Cold one")
    assert [(e["within_allowance"], e["minutes_at_most"]) for e in excursions(cli)] == [(True, 30.0)]
    assert states(cli) == [("A1", "Cold one", 4, "usable")]
    cli.ok("fridge", "log", "4.0", "--fridge", "Cold one")
    assert cli.ask("fridge", "check")["attention"] == 0
    cli.now = later = "2026-03-02T20:00:00+00:00"
    series(cli, "two.csv", "2026-03-02T11:10:00", 10, [4.0, 7.0, 7.0, 7.0, 4.0])  # at most 40: 70 in all
    cli.ok("fridge", "import", "two.csv", "--fridge", "Cold one", now=later)
    assert states(cli) == [("A1", "Cold one", 4, "usable")]
    series(cli, "three.csv", "2026-03-02T14:40:00", 10, [4.0, 7.0, 4.0])  # at most 20 more: used up
    cli.ok("fridge", "import", "three.csv", "--fridge", "Cold one", now=later)
    assert states(cli) == [("A1", "Cold one", 4, "quarantined")]


def test_a_fridge_is_switched_off_only_when_empty(cli: Line) -> None:
    stock(cli)
    assert cli("fridge", "off", "Cold one", "--why", "defrosting").code == 3
    cli.ok("stock", "move", "--all", "--from", "Cold one", "--to", "Cold two")
    cli.ok("fridge", "off", "Cold one", "--why", "defrosting")
    found = cli.ask(
        "fridge", "check", "--fridge", "Cold one", "--as-of", "2026-03-05T17:00", now="2026-03-06T09:00:00+00:00"
    )
    assert found["fridges"][0]["off"] is True
    assert found["fridges"][0]["missed_checks"] == []


def test_a_spreadsheet_in_disguise_and_other_files_are_refused_whole(cli: Line) -> None:
    cli.file("book.csv", b"PK\x03\x04" + bytes(range(256)))
    cli.file("empty.csv", "")
    cli.file("words.csv", "hello\nworld\n")
    cli.file("dates.csv", "time,temp\n03/04/2026 10:00,4.1\n04/04/2026 10:00,4.2\n")
    for name in ("book.csv", "empty.csv", "words.csv", "dates.csv", "missing.csv"):
        said = cli("fridge", "import", name, "--fridge", "Cold one")
        assert said.code == 3, name
        assert said.out == ""
        assert name in said.err or "03/04/2026" in said.err
        assert "Traceback" not in said.err
    assert (
        cli.ask(
            "fridge", "import", "dates.csv", "--fridge", "Cold one", "--month-first", now="2026-05-02T09:00:00+00:00"
        )["first"]
        == "2026-03-04T09:00:00Z"
    )


def test_how_a_fridge_s_files_are_read_is_remembered(cli: Line) -> None:
    cli.file("two.csv", "when,in,out\n2026-03-02T06:00:00Z,4.0,19.0\n")
    assert cli("fridge", "import", "two.csv", "--fridge", "Cold one").code == 3
    cli.ok("fridge", "import", "two.csv", "--fridge", "Cold one", "--temperature-column", "in")
    cli.file("three.csv", "when,in,out\n2026-03-02T06:10:00Z,4.1,19.0\n")
    assert cli.ask("fridge", "import", "three.csv", "--fridge", "Cold one")["added"] == 1
