"""Which kit was used, in the words of the person who used it: by its label, by its lot, late, or against the record.

Derived from the tests' practice: a kit warms for 24 h and may be out for 72; Amsterdam is UTC+1.
"""

from typing import Any

import pytest
from conftest import PRACTICE, Line

MONDAY, TUESDAY, WEDNESDAY = "2026-03-02", "2026-03-03", "2026-03-04"
EVENING = f"{WEDNESDAY}T17:00:00+00:00"


def received(cli: Line, lot: str = "A1", n: int = 6, expiry: str = "2026-12-31") -> None:
    cli.ok(
        "stock", "receive", "KIT", "--lot", lot, "--expiry", expiry, "--quantity", n, "--into", "Cold one",
        "--arrived-at", "4", "--at", "2026-03-01T08:00",
    )  # fmt: skip


def wednesday(cli: Line, *hours: int, pull: bool = True) -> None:
    """Bookings on Wednesday, their kits taken out the day before; then it is evening."""
    for n, hour in enumerate(hours, 1):
        cli.ok("booking", "add", "white", "--start", f"{WEDNESDAY}T{hour:02}:00", "--patient", f"P-{n}")
        if pull:
            cli.ok("warmup", "pull", f"B-{n}", "--at", f"{TUESDAY}T08:{n:02}", now=f"{TUESDAY}T08:00:00+00:00")
    cli.now = EVENING


def used(said: Any) -> list[tuple[str | None, bool]]:
    return [(u["pull"], u.get("wasted", False)) for u in said["used"] if u["product"] == "KIT"]


def test_the_label_alone_says_which_booking_and_which_kit(both: Line) -> None:
    received(both)
    wednesday(both, 10, 12, 14)
    both.ok("warmup", "pull", "B-3", "--extra", "--at", f"{TUESDAY}T09:00", now=f"{TUESDAY}T09:00:00+00:00")
    assert used(both.ask("booking", "done", "P-1.A1")) == [("P-1", False)]
    # B-3 has two kits out for it: the one that was scanned was used, not the first
    said = both.ask("booking", "done", "P-4.A1")
    assert (said["booking"], used(said)) == ("B-3", [("P-4", False)])
    assert both.ask("booking", "missed", "P-2.A1", "--kit", "opened")["booking"] == "B-2"
    for label, booking in (("P-1.A1", "B-1"), ("P-4.A1", "B-3"), ("P-2", "B-2")):
        assert both.ask("trace", "booking", label)["booking"] == booking
    # P-3 was for B-3 and is free now
    refused = both("booking", "done", "P-3.A1")
    assert refused.code == 3 and "P-3 is for no booking" in refused.err and "--pull P-3" in refused.err
    assert both("booking", "done", "P-9").code == 3 and both("booking", "done", "P-1.ZZ").code == 3


def test_the_kit_is_traced_to_who_used_it_not_to_whom_it_was_promised(cli: Line) -> None:
    received(cli)
    wednesday(cli, 10, 12)
    cli.ok("booking", "done", "B-2", "--pull", "P-1")
    assert cli.ask("trace", "booking", "P-1.A1")["booking"] == "B-2"


def test_an_outside_id_that_looks_like_a_kit_is_still_the_booking(cli: Line) -> None:
    received(cli)
    wednesday(cli, 10, 12)
    cli.ok("booking", "link", "B-2", "P-1")
    assert used(cli.ask("booking", "done", "P-1")) == [("P-2", False)]


def test_several_in_one_line_are_each_recorded_once_whatever_they_are_called(cli: Line) -> None:
    received(cli)
    wednesday(cli, 10, 12)
    cli.ok("booking", "link", "B-1", "K77")
    said = cli.ask("booking", "done", "B-1", "K77", "P-1.A1", "P-2.A1")
    assert [used(r) for r in said["recorded"]] == [[("P-1", False)], [("P-2", False)]]


def test_the_line_says_which_kits_were_used_and_which_wasted(cli: Line) -> None:
    received(cli)
    wednesday(cli, 10, 12)
    cli.ok("warmup", "pull", "--product", "KIT", "--lot", "A1", now=f"{TUESDAY}T08:30:00+00:00")
    done = cli.ok("booking", "done", "B-1", "--wasted", "P-1", "--pull", "P-3", "--cycles", "8").out
    assert "B-1 done: P-1 (KIT lot A1, wasted), P-3 (KIT lot A1), 1 x SWAB" in done
    assert "P-2 (KIT lot A1) used up" in cli.ok("booking", "missed", "B-2", "--kit", "opened").out


@pytest.mark.parametrize(
    ("options", "word"),
    [
        (("--pull", "P-1", "--lot", "KIT=B2"), "P-1 is of lot A1, not B2"),
        (("--pull", "P-1", "--wasted", "P-1.A1"), "used or wasted"),
    ],
)
def test_what_contradicts_itself_is_refused_not_half_followed(cli: Line, options: tuple[str, ...], word: str) -> None:
    received(cli)
    received(cli, "B2", expiry="2027-01-31")
    wednesday(cli, 10)
    said = cli("booking", "done", "B-1", *options)
    assert (said.code, said.out) == (3, "") and word in said.err
    assert used(cli.ask("booking", "done", "B-1", "--pull", "P-1", "--lot", "KIT=A1")) == [("P-1", False)]


def test_one_kit_named_twice_is_one_kit(cli: Line) -> None:
    received(cli)
    wednesday(cli, 10)
    assert used(cli.ask("booking", "done", "B-1", "--pull", "P-1", "--pull", "P-1.A1")) == [("P-1", False)]


def test_what_was_cancelled_and_took_place_is_recorded_and_said(cli: Line) -> None:
    received(cli)
    wednesday(cli, 10)
    cli.ok("booking", "cancel", "B-1", "--why", "rang", "--at", f"{TUESDAY}T12:00")
    said = cli("booking", "done", "B-1", "--json")
    assert said.code == 1 and "cancelled on record" in " ".join(said.json["warnings"])
    assert used(said.json) == [("P-1", False)]
    assert cli.ask("booking", "list")["bookings"][0]["state"] == "done"


def test_what_a_file_cancelled_is_not_to_be_undone_with_all_of_the_file(cli: Line) -> None:
    received(cli)
    rows = "id,procedure,start,patient,state\nK1,white,2026-03-04T10:00,P-1,{}\nK2,white,2026-03-05T10:00,P-2,booked\n"
    for state in ("booked", "cancelled"):
        cli.file("a.csv", rows.format(state))
        cli.ok("booking", "import", "a.csv")
    cli.now = EVENING
    said = cli("booking", "missed", "K1")
    assert said.code == 3 and "undo" not in said.err and "booking done B-1" in said.err


def test_a_kit_written_in_late_is_of_a_lot_that_later_records_leave_there(cli: Line) -> None:
    # One kit of the lot that expires first; it goes out on Wednesday morning. Then Tuesday's is written in.
    received(cli, "SOON", 1, expiry="2026-06-30")
    received(cli, "LATER", 4, expiry="2026-12-31")
    wednesday(cli, 10, 15, pull=False)
    cli.ok("warmup", "pull", "B-2", "--at", f"{WEDNESDAY}T08:00")
    said = cli.ask("warmup", "pull", "B-1", "--at", f"{TUESDAY}T08:30")
    assert [p["lot"] for p in said["pulls"]] == ["LATER"]
    assert said["pulls"][0]["pulled_at"] == "2026-03-03T07:30:00Z"
    # named by a person it is not another lot: it cannot have been that one
    named = cli("warmup", "pull", "B-1", "--extra", "--lot", "SOON", "--at", f"{TUESDAY}T08:30")
    assert named.code == 3 and "SOON" in named.err


def test_where_no_lot_would_fit_the_way_out_is_named(cli: Line) -> None:
    received(cli, "ONLY", 1)
    wednesday(cli, 10, 15, pull=False)
    cli.ok("warmup", "pull", "B-2", "--at", f"{WEDNESDAY}T08:00")
    said = cli("warmup", "pull", "B-1", "--at", f"{TUESDAY}T08:30")
    assert said.code == 3 and "lot ONLY of KIT would be gone" in said.err
    assert "--lot" in said.err and "stock count" in said.err


@pytest.mark.parametrize(("cycles", "loose"), [(2, 0), (6, 0), (7, 1), (8, 1)])
def test_what_is_inside_the_kit_goes_before_the_cupboard(line: Any, cycles: int, loose: int) -> None:
    # common practice: a swab for every two cycles and one spare; 4 inside: 2 -> 2, 6 -> 4, 7 -> 5, 8 -> 5
    cli = line(PRACTICE)
    received(cli)
    cli.ok("stock", "receive", "SWAB", "--lot", "OLD", "--expiry", "2026-06", "--quantity", 1, "--into", "Cupboard")
    cli.ok("stock", "receive", "SWAB", "--lot", "NEW", "--expiry", "2027-06", "--quantity", 50, "--into", "Cupboard")
    wednesday(cli, 10)
    said = cli.ask("booking", "done", "B-1", "--cycles", cycles)
    swabs = [(u["lot"], u["quantity"]) for u in said["used"] if u["product"] == "SWAB"]
    assert swabs == ([("OLD", loose)] if loose else [])
    traced = cli.ask("trace", "lot", "SWAB", "OLD")
    assert (traced["used"], traced["on_hand"]) == (loose, 1 - loose)
