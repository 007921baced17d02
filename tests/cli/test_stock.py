"""Stock through the command line: every movement, what is on hand, corrections; on SQLite and PostgreSQL."""

import pytest
from conftest import Line

MONDAY = "2026-03-02T09:00:00+00:00"


def receive(
    line: Line,
    lot: str = "A1",
    n: int = 4,
    expiry: str = "2026-12-31",
    at: str = "2026-03-02T08:30",
    into: str = "Cold one",
) -> None:
    line.ok("stock", "receive", "KIT", "--lot", lot, "--expiry", expiry, "--quantity", n, "--into", into, "--at", at)


def lots(line: Line, **more: str) -> list[tuple[str, str, int, str]]:
    args = [x for k, v in more.items() for x in (f"--{k.replace('_', '-')}", v)]
    return [(r["lot"], r["place"], r["quantity"], r["state"]) for r in line.ask("stock", "list", *args)["lots"]]


def test_a_delivery_is_on_hand_from_when_it_came(both: Line) -> None:
    receive(both)
    assert lots(both) == [("A1", "Cold one", 4, "usable")]
    # As of the minute before it came there was nothing (derived: 08:30 in Amsterdam is 07:30 UTC in winter).
    assert lots(both, as_of="2026-03-02T07:29:59Z") == []
    assert lots(both, as_of="2026-03-02T07:30:00Z") == [("A1", "Cold one", 4, "usable")]


def test_packs_are_pieces_and_the_answer_says_both(cli: Line) -> None:
    said = cli.ask("stock", "receive", "KIT", "--lot", "P", "--expiry", "2027-01", "--packs", 2, "--into", "Cold one")
    assert (said["quantity"], said["packs"], said["expiry"]) == (8, 2, "2027-01-31")


@pytest.mark.parametrize(
    "more", [(), ("--quantity", "3", "--packs", "1"), ("--quantity", "0"), ("--quantity", "-2"), ("--quantity", "x")]
)
def test_a_quantity_that_cannot_be_is_refused_and_nothing_is_written(cli: Line, more: tuple[str, ...]) -> None:
    said = cli("stock", "receive", "KIT", "--lot", "A", "--expiry", "2027-01", "--into", "Cold one", *more)
    assert said.code == 3
    assert said.out == ""
    assert len(cli.ask("records", "history")["entries"]) == 1


def test_what_came_expired_is_recorded_and_named(cli: Line) -> None:
    said = cli(
        "stock",
        "receive",
        "KIT",
        "--lot",
        "OLD",
        "--expiry",
        "2026-03-01",
        "--quantity",
        1,
        "--into",
        "Cold one",
        "--json",
    )
    assert said.code == 1
    assert "expired" in said.json["warnings"][0]
    assert lots(cli) == [("OLD", "Cold one", 1, "expired")]


def test_the_expiry_day_itself_is_still_good(cli: Line) -> None:
    receive(cli, expiry="2026-03-02")
    assert lots(cli) == [("A1", "Cold one", 4, "usable")]
    assert lots(cli, as_of="2026-03-03T00:00:00") == [("A1", "Cold one", 4, "expired")]


def test_a_warm_arrival_goes_into_quarantine(both: Line) -> None:
    args = ("stock", "receive", "KIT", "--lot", "W", "--expiry", "2027-01", "--quantity", 2, "--into", "Cold one")
    assert both(*args, "--arrived-at", "6.0").code == 0  # the limit itself is in range
    said = both(
        "stock",
        "receive",
        "KIT",
        "--lot",
        "X",
        "--expiry",
        "2027-01",
        "--quantity",
        2,
        "--into",
        "Cold one",
        "--arrived-at",
        "6.1",
        "--json",
    )
    assert said.code == 1
    assert lots(both) == [("W", "Cold one", 2, "usable"), ("X", "Cold one", 2, "quarantined")]


def test_lots_are_told_apart_by_capitals_and_length(cli: Line) -> None:
    # rules of lots: 3C001 is not 3c001 nor 3C0011
    for lot in ("3C001", "3c001", "3C0011"):
        receive(cli, lot=lot, n=1)
    assert [x[0] for x in lots(cli)] == ["3C001", "3C0011", "3c001"]
    said = cli("trace", "lot", "KIT", "3C01")
    assert said.code == 3
    assert "3C001" in said.err


def test_one_lot_with_two_expiries_is_reported_and_the_earlier_counts(cli: Line) -> None:
    receive(cli, lot="A", n=1, expiry="2026-12-31")
    said = cli(
        "stock",
        "receive",
        "KIT",
        "--lot",
        "A",
        "--expiry",
        "2026-11-30",
        "--quantity",
        1,
        "--into",
        "Cold one",
        "--json",
    )
    assert said.code == 1
    assert cli.ask("stock", "list")["lots"][0]["expiry"] == "2026-11-30"


def test_moving_more_than_is_on_record_is_refused_and_names_the_count(both: Line) -> None:
    receive(both, n=2)
    said = both("stock", "move", "KIT", "A1", "--quantity", 9, "--from", "Cold one", "--to", "Cold two")
    assert said.code == 3
    assert "stock count" in said.err
    assert lots(both) == [("A1", "Cold one", 2, "usable")]
    both.ok("stock", "move", "KIT", "A1", "--quantity", 1, "--from", "Cold one", "--to", "Cold two")
    assert lots(both) == [("A1", "Cold one", 1, "usable"), ("A1", "Cold two", 1, "usable")]


def test_a_failed_fridge_is_emptied_even_into_a_box_nobody_knows(cli: Line) -> None:
    receive(cli)
    receive(cli, lot="B", n=2)
    said = cli("stock", "move", "--all", "--from", "Cold one", "--to", "Polystyrene crate", "--json")
    assert said.code == 1
    assert any("nobody measures" in w for w in said.json["warnings"])
    assert {x[1] for x in lots(cli)} == {"Polystyrene crate"}


def test_a_slip_in_a_places_name_is_not_taken_for_a_box(cli: Line) -> None:
    receive(cli)
    said = cli("stock", "move", "--all", "--from", "Cold one", "--to", "Cold tow")
    assert said.code == 3
    assert "Cold two" in said.err


def test_use_takes_the_first_to_expire(both: Line) -> None:
    receive(both, lot="LATE", n=2, expiry="2027-06-30")
    receive(both, lot="SOON", n=1, expiry="2026-05-31")
    both.ok(
        "stock",
        "receive",
        "SWAB",
        "--lot",
        "S2",
        "--expiry",
        "2028-01",
        "--quantity",
        5,
        "--into",
        "Cupboard",
        "--at",
        "2026-03-02T08:30",
    )
    both.ok(
        "stock",
        "receive",
        "SWAB",
        "--lot",
        "S1",
        "--expiry",
        "2027-01",
        "--quantity",
        2,
        "--into",
        "Cupboard",
        "--at",
        "2026-03-02T08:30",
    )
    used = both.ask("stock", "use", "SWAB", 3, "--why", "training")["used"]
    assert [(u["lot"], u["quantity"]) for u in used] == [("S1", 2), ("S2", 1)]


def test_use_beyond_the_record_is_recorded_and_shown_as_unaccounted_until_explained(both: Line) -> None:
    both.ok(
        "stock",
        "receive",
        "SWAB",
        "--lot",
        "S",
        "--expiry",
        "2028-01",
        "--quantity",
        2,
        "--into",
        "Cupboard",
        "--at",
        "2026-03-02T08:30",
    )
    said = both("stock", "use", "SWAB", 5, "--why", "spilled", "--json")
    assert said.code == 1
    assert any("stock count" in e for e in [both("stock", "list").out])
    trace = both.ask("trace", "lot", "SWAB", "S")
    assert (trace["received"], trace["used"], trace["on_hand"], trace["unaccounted"], trace["difference"]) == (
        2,
        5,
        0,
        3,
        0,
    )
    # A late delivery of three explains it.
    both.ok(
        "stock",
        "receive",
        "SWAB",
        "--lot",
        "S",
        "--expiry",
        "2028-01",
        "--quantity",
        3,
        "--into",
        "Cupboard",
        "--at",
        "2026-03-02T08:00",
    )
    trace = both.ask("trace", "lot", "SWAB", "S")
    assert (trace["received"], trace["used"], trace["on_hand"], trace["unaccounted"]) == (5, 5, 0, 0)


def test_a_count_explains_what_was_unaccounted(cli: Line) -> None:
    cli.ok(
        "stock",
        "receive",
        "SWAB",
        "--lot",
        "S",
        "--expiry",
        "2028-01",
        "--quantity",
        2,
        "--into",
        "Cupboard",
        "--at",
        "2026-03-02T08:30",
    )
    cli.ok("stock", "use", "SWAB", 5, "--why", "spilled")
    cli.file("count.csv", "product,lot,quantity\nSWAB,S,0\n")
    said = cli.ask("stock", "count", "Cupboard", "count.csv")
    assert said["differences"] == [{"product": "SWAB", "lot": "S", "recorded": -3, "counted": 0}]
    trace = cli.ask("trace", "lot", "SWAB", "S")
    assert (trace["adjusted"], trace["unaccounted"], trace["on_hand"], trace["difference"]) == (3, 0, 0, 0)


def test_a_count_leaves_what_was_not_counted_and_says_so(cli: Line) -> None:
    receive(cli, lot="A", n=3)
    receive(cli, lot="B", n=2)
    cli.file("count.csv", "product,lot,quantity\nKIT,A,2\n")
    said = cli("stock", "count", "Cold one", "count.csv", "--json")
    assert said.code == 1
    assert any("B" in w and "not in the count" in w for w in said.json["warnings"])
    assert lots(cli) == [("A", "Cold one", 2, "usable"), ("B", "Cold one", 2, "usable")]


def test_quarantine_and_release_are_a_property_of_some_pieces(both: Line) -> None:
    receive(both, n=4)
    cause = both.ask("stock", "quarantine", "KIT", "A1", "--quantity", 3, "--why", "torn box")["cause"]
    rows = both.ask("stock", "list")["lots"]
    assert [(r["quantity"], r["state"], r["causes"]) for r in rows] == [(3, "quarantined", [cause]), (1, "usable", [])]
    both.ok("stock", "release", "KIT", "A1", "--quantity", 2, "--why", "only the carton", "--by", "CD")
    assert [(r["quantity"], r["state"]) for r in both.ask("stock", "list")["lots"]] == [
        (1, "quarantined"),
        (3, "usable"),
    ]


def test_decisions_want_initials_typed_just_now(cli: Line) -> None:
    receive(cli)
    cli.ok("stock", "quarantine", "KIT", "A1", "--why", "torn box")
    for words in (("release", "KIT", "A1"), ("discard", "KIT", "A1", "--quantity", "1")):
        said = cli("stock", *words, "--why", "x")
        assert said.code == 3
        assert "--by" in said.err


def test_return_and_discard_leave_the_practice(both: Line) -> None:
    receive(both, n=4)
    both.ok("stock", "return", "KIT", "A1", "--quantity", 1, "--why", "recall")
    both.ok("stock", "discard", "KIT", "A1", "--quantity", 1, "--why", "dropped", "--by", "AB")
    trace = both.ask("trace", "lot", "KIT", "A1")
    assert (trace["received"], trace["returned"], trace["discarded"], trace["on_hand"], trace["difference"]) == (
        4,
        1,
        1,
        2,
        0,
    )


def test_the_opening_file_is_taken_whole_or_not_at_all(both: Line) -> None:
    both.file(
        "bad.csv", "product,lot,expiry,quantity,place\nKIT,A,2026-12-31,3,Cold one\nKIX,B,2026-12-31,3,Cold one\n"
    )
    said = both("stock", "opening", "bad.csv")
    assert said.code == 3
    assert "line 3" in said.err and "KIT" in said.err
    assert lots(both) == []
    both.file(
        "good.csv", "product,lot,expiry,quantity,place\nKIT,A,2026-12-31,3,Cold one\nSWAB,S,2028-01,40,Cupboard\n"
    )
    both.ok("stock", "opening", "good.csv")
    assert lots(both) == [("A", "Cold one", 3, "usable"), ("S", "Cupboard", 40, "usable")]
    assert both.ask("trace", "lot", "KIT", "A")["earlier_exposure_unknown"] is True


def test_undo_takes_back_whole_and_history_keeps_both(both: Line) -> None:
    receive(both, n=4)
    both.ok("stock", "quarantine", "KIT", "A1", "--why", "torn box")
    both.ok("undo", "--why", "wrong lot")
    assert lots(both) == [("A1", "Cold one", 4, "usable")]
    entries = both.ask("records", "history")["entries"]
    assert [e["reversed_by"] for e in entries] == [None, None, "R-4", None]
    assert both("undo", "R-4", "--why", "x").code == 3  # what was taken back is recorded anew, not undone
    assert both("undo", "R-99", "--why", "x").code == 3
    # Only one's own by default.
    both.by = "ZZ"
    assert both("undo", "--why", "x").code == 3


def test_a_record_cannot_be_taken_back_from_under_what_builds_on_it(cli: Line) -> None:
    receive(cli, n=2, at="2026-03-02T08:10")
    cli.ok("warmup", "pull", "--product", "KIT", "--lot", "A1")
    pull = cli.ask("records", "history")["entries"][-1]["entry"]
    cli.ok("stock", "discard", "--pull", "P-1", "--why", "dropped", "--by", "AB")
    said = cli("undo", pull, "--why", "x")
    assert said.code == 3
    assert "take that back first" in said.err


@pytest.mark.parametrize(
    ("args", "code"),
    [
        (("stock", "recieve"), 2),
        (("stock", "list", "--nonsense"), 2),
        (("stock", "list", "--product", "KITT"), 3),
        (("stock", "use", "KIT", "0", "--why", "x"), 3),
        (("stock", "use", "KIT", "two", "--why", "x"), 3),
        (("stock", "use", "KIT", "1"), 2),
        (("stock", "move", "--from", "Cold one", "--to", "Cold two"), 3),
        (("stock", "move", "--all", "--from", "Cold one", "--to", "Cold one"), 3),
        (("stock", "discard", "KIT", "NO", "--quantity", "1", "--why", "x", "--by", "AB"), 3),
        (("stock", "release", "KIT", "NO", "--why", "x", "--by", "AB"), 3),
        (("stock", "opening", "nowhere.csv"), 3),
        (("stock", "count", "Nowhere", "count.csv"), 3),
        (("stock", "count", "Cold one"), 3),
        (("stock", "receive", "KIT", "--lot", "A", "--expiry", "3/4/2026", "--quantity", "1", "--into", "Cold one"), 3),
        (("stock", "receive", "KIT", "--lot", "A", "--expiry", "2027-01", "--quantity", "1", "--into", "Nowhere"), 3),
        (("stock", "receive", "KIT", "--lot", "A", "--expiry", "2027-01", "--quantity", "1", "--into", "Cold one", "--order", "O-9"), 3),
        (("stock", "receive", "KIT", "--lot", "A", "--expiry", "2027-01", "--quantity", "1", "--into", "Cold one", "--at", "2026-03-02T12:00"), 3),
    ],
)  # fmt: skip
def test_wrong_input_is_one_message_and_writes_nothing(cli: Line, args: tuple[str, ...], code: int) -> None:
    said = cli(*args)
    assert said.code == code, said
    assert said.out == ""
    assert said.err.startswith("stockroom: ")
    assert "Traceback" not in said.err
    assert len(cli.ask("records", "history")["entries"]) == 1


def test_nobody_records_without_initials(cli: Line) -> None:
    cli.by = None
    said = cli("stock", "use", "KIT", "1", "--why", "x")
    assert said.code == 3
    assert "--by" in said.err
    cli.by = "Mary Smith"
    assert cli("stock", "use", "KIT", "1", "--why", "x").code == 3


def test_a_hold_on_what_is_not_there_says_what_the_record_has(cli: Line) -> None:
    cli.ok(
        "stock", "receive", "KIT", "--lot", "A1", "--expiry", "2026-12", "--quantity", 3, "--into", "Cold one",
        "--arrived-at", "4",
    )  # fmt: skip
    for options, said in (
        (("--place", "Cold two"), "the record has none of lot A1 of KIT in Cold two"),
        (("--quantity", "9"), "the record has 3 of lot A1 of KIT, not 9"),
    ):
        refused = cli("stock", "quarantine", "KIT", "A1", "--why", "x", *options)
        assert refused.code == 3 and f"stockroom: {said}\n" in refused.err
