"""The evening's catch-up: what is not recorded is listed with the line to type, and typing it records just that.

Derived from the tests' practice: six cycles use four swabs, which a kit has inside; eight use five, one of them loose.
"""

from typing import Any

import pytest
from conftest import PRACTICE, Line

TUESDAY, WEDNESDAY = "2026-03-03", "2026-03-04"
EVENING = f"{WEDNESDAY}T17:00:00+00:00"


def received(
    line: Line, product: str = "KIT", lot: str = "A1", n: int = 6, into: str = "Cold one", **more: str
) -> None:
    expiry = more.get("expiry", "2026-12-31")
    line.ok(
        "stock", "receive", product, "--lot", lot, "--expiry", expiry, "--quantity", n, "--into", into,
        "--at", "2026-03-01T08:00",
    )  # fmt: skip


def wednesday(line: Line, *hours: int, pull: bool = True) -> None:
    """Bookings on Wednesday, their kits taken out 25 hours before."""
    for n, hour in enumerate(hours, 1):
        line.ok("booking", "add", "white", "--start", f"{WEDNESDAY}T{hour:02}:00", "--patient", f"P-{n}")
        if pull:
            line.ok("warmup", "pull", f"B-{n}", "--at", f"{TUESDAY}T08:{n:02}", now=f"{TUESDAY}T08:00:00+00:00")
    line.now = EVENING


def used(said: Any) -> list[tuple[str, str | None, str, int]]:
    return [(u["product"], u["pull"], u["lot"], u["quantity"]) for u in said["used"]]


def slugs(line: Line, *args: object) -> tuple[int, str]:
    said = line(*args, "--json")
    return said.code, " ".join(said.json["warnings"])


def test_the_evening_in_one_line(both: Line) -> None:
    received(both)
    received(both, "SWAB", "S1", 50, "Cupboard")
    wednesday(both, 10, 12, 14)
    shown = both("booking", "done")
    assert shown.code == 1
    listed = both.ask("booking", "done")["bookings"]
    assert [(b["booking"], b["proposed"]["command"], b["proposed"]["kits"][0]["pull"]) for b in listed] == [
        ("B-1", "booking done B-1", "P-1"), ("B-2", "booking done B-2", "P-2"), ("B-3", "booking done B-3", "P-3"),
    ]  # fmt: skip
    assert all(not b["proposed"]["breaches"] for b in listed)
    assert "-> stockroom booking done B-1 B-2 B-3" in shown.out and "uses P-1 (KIT lot A1)" in shown.out
    said = both("booking", "done", "B-1", "B-2", "B-3", "--json")
    assert said.code == 0
    assert [used(r) for r in said.json["recorded"]] == [[("KIT", f"P-{n}", "A1", 1)] for n in (1, 2, 3)]
    assert [r["at"][11:16] for r in said.json["recorded"]] == ["09:00", "11:00", "13:00"]  # each at its own time
    assert len({r["entry"] for r in said.json["recorded"]}) == 3  # so that one can be taken back alone
    assert both("booking", "done").code == 0 and "recorded" in both("booking", "done").out


def test_what_is_proposed_is_what_is_recorded(cli: Line) -> None:
    # The first lot of swabs has one left, then the second: two bookings of eight cycles take one each.
    received(cli)
    received(cli, "SWAB", "OLD", 1, "Cupboard", expiry="2026-06-30")
    received(cli, "SWAB", "NEW", 9, "Cupboard", expiry="2027-06-30")
    for n, hour in enumerate((10, 13), 1):
        cli.ok("booking", "add", "white", "--start", f"{WEDNESDAY}T{hour}:00", "--patient", f"P-{n}", "--cycles", 8)
    cli.ok("warmup", "pull", "B-1", "--at", f"{TUESDAY}T08:00", now=f"{TUESDAY}T08:00:00+00:00")
    cli.ok("warmup", "pull", "--product", "KIT", "--lot", "A1", now=f"{TUESDAY}T08:30:00+00:00")  # free: for the second
    cli.now = EVENING
    listed = cli.ask("booking", "done")["bookings"]
    for b in listed:
        p = b["proposed"]
        said = cli.ask(*p["command"].split())
        kits = [(k["product"], k["pull"], k["lot"], 1) for k in p["kits"]]
        assert used(said) == kits + [(s["product"], None, s["lot"], s["quantity"]) for s in p["supplies"]]
    assert [b["proposed"]["supplies"][0]["lot"] for b in listed] == ["OLD", "NEW"]
    assert [b["proposed"]["kits"][0]["pull"] for b in listed] == ["P-1", "P-2"]


def test_several_are_recorded_all_or_none(both: Line) -> None:
    received(both)
    wednesday(both, 10, 12)
    assert both("booking", "done", "B-1", "B-9").code == 3
    assert both("booking", "done", "B-1", "B-2", "--cycles", 2).code == 3
    assert both("booking", "done", "--cycles", 2).code == 3
    assert len(both.ask("booking", "done")["bookings"]) == 2
    both.ok("booking", "done", "B-2")
    assert both("booking", "done", "B-1", "B-2").code == 3  # the second is over already
    assert [b["booking"] for b in both.ask("booking", "done")["bookings"]] == ["B-1"]
    assert [b["booking"] for b in both.ask("booking", "done", "--at", f"{WEDNESDAY}T11:00")["bookings"]] == []


def test_the_catch_up_says_what_somebody_should_look_at_first(cli: Line) -> None:
    received(cli)
    wednesday(cli, 10, 12, 14, pull=False)
    cli.ok("warmup", "pull", "B-1", "--at", f"{TUESDAY}T12:00", now=EVENING)  # three hours too late to be warm
    cli.ok("warmup", "pull", "B-2", "--at", f"{TUESDAY}T11:00", now=EVENING)
    cli.ok("stock", "quarantine", "KIT", "A1", "--why", "x", "--place", "P-2", "--at", f"{TUESDAY}T12:00", now=EVENING)
    listed = cli.ask("booking", "done")["bookings"]
    assert [b["proposed"]["breaches"] for b in listed] == [
        ["P-1 was warm only at Wed 4 Mar 12:00"], ["P-2 is in quarantine"], ["no KIT is out for it"],
    ]  # fmt: skip
    for b, word in zip(listed, ("warm only at", "in quarantine", "without its warm-up"), strict=True):
        code, warned = slugs(cli, *b["proposed"]["command"].split())
        assert code == 1 and word in warned  # recorded, with the breach that was announced
    assert [b["state"] for b in cli.ask("booking", "list")["bookings"]] == ["done"] * 3


def test_stopped_after_two_cycles(cli: Line) -> None:
    received(cli)
    wednesday(cli, 10, 12)
    said = cli("booking", "done", "B-1", "--stopped", "--cycles", 2, "--json")
    assert (said.code, said.json["stopped"], said.json["cycles"]) == (0, True, 2)
    code, warned = slugs(cli, "booking", "done", "B-2", "--stopped")
    assert code == 1 and "6 cycles" in warned  # how many is not known: recorded, and asked for


def test_a_kit_wasted_and_a_second_used(both: Line) -> None:
    received(both)
    wednesday(both, 10)
    both.ok("warmup", "pull", "--product", "KIT", "--lot", "A1", now=f"{TUESDAY}T08:30:00+00:00")
    said = both.ask("booking", "done", "B-1", "--wasted", "P-1.A1", "--pull", "P-2.A1")
    assert [(u["pull"], u.get("wasted", False)) for u in said["used"]] == [("P-1", True), ("P-2", False)]
    traced = both.ask("trace", "lot", "KIT", "A1")
    assert (traced["used"], traced["on_hand"], traced["out"], traced["bookings"][0]["quantity"]) == (2, 4, 0, 2)
    assert both("booking", "done", "B-1", "--wasted", "P-1").code == 3


def test_the_second_kit_of_another_booking_is_said_to_be_missing_there(cli: Line) -> None:
    received(cli, n=2)
    wednesday(cli, 10, 17)
    cli.now = f"{WEDNESDAY}T11:30:00+00:00"
    code, warned = slugs(cli, "booking", "done", "B-1", "--wasted", "P-1", "--pull", "P-2")
    assert code == 1 and "P-2 was promised to B-2" in warned
    (b,) = cli.ask("warmup", "check")["broken"]
    assert (b["booking"], b["state"]) == ("B-2", "short")


@pytest.mark.parametrize("out", [True, False])
def test_missed_with_the_kit_opened_uses_one_up_whether_it_was_written_out_or_not(both: Line, out: bool) -> None:
    received(both)
    wednesday(both, 10, pull=out)
    said = both.ask("booking", "missed", "B-1", "--kit", "opened")
    assert [(u["product"], u["pull"]) for u in said["used"]] == [("KIT", "P-1" if out else None)]
    traced = both.ask("trace", "lot", "KIT", "A1")
    assert (traced["used"], traced["on_hand"] + traced["out"]) == (1, 5)


def test_missed_with_the_kit_sealed_leaves_it_free_for_the_next(cli: Line) -> None:
    received(cli)
    wednesday(cli, 10, pull=True)
    cli.ok("booking", "add", "white", "--start", "2026-03-05T10:00", "--patient", "P-9")
    said = cli.ask("booking", "missed", "B-1", "--kit", "sealed")
    assert (said["used"], said["freed"]) == ([], ["P-1"])
    (row,) = cli.ask("warmup", "check")["bookings"]
    assert (row["booking"], row["pull"]) == ("B-2", "P-1")


def test_every_breach_is_recorded_with_its_name(line: Any) -> None:
    cli = line()
    received(cli, lot="A1", n=9)
    received(cli, lot="SOON", n=1, expiry="2026-03-03")
    for n, hour in enumerate((9, 11, 13, 15), 1):
        cli.ok("booking", "add", "white", "--start", f"{WEDNESDAY}T{hour:02}:00", "--patient", f"P-{n}")
    cli.now = EVENING
    cli.ok("warmup", "pull", "B-1", "--lot", "A1", "--at", f"{TUESDAY}T16:00")  # not warm
    cli.ok(
        "warmup", "pull", "B-2", "--lot", "A1", "--at", "2026-03-01T09:00"
    )  # out since Sunday 09:00: till Wednesday 09:00
    cli.ok("warmup", "pull", "B-3", "--lot", "SOON", "--at", f"{TUESDAY}T08:00")
    cli.ok("warmup", "pull", "B-4", "--lot", "A1", "--at", f"{TUESDAY}T08:00")
    cli.ok("stock", "quarantine", "KIT", "A1", "--why", "x", "--place", "P-4", "--at", f"{TUESDAY}T09:00")
    words = {"B-1": "warm only at", "B-2": "after its use-by", "B-3": "after its expiry", "B-4": "in quarantine"}
    listed = {b["booking"]: b["proposed"]["breaches"] for b in cli.ask("booking", "done")["bookings"]}
    assert all(len(listed[b]) == 1 for b in words)
    for booking, word in words.items():
        code, warned = slugs(cli, "booking", "done", booking)
        assert code == 1 and word in warned, (booking, warned)
        assert any(word in what for what in cli.ask("trace", "booking", booking)["breaches"])
    assert cli.ask("trace", "lot", "KIT", "A1")["used"] == 3


def test_a_lot_called_2_is_not_taken_for_a_held_one(cli: Line) -> None:
    received(cli, "SWAB", "2", 9, "Cupboard")
    said = cli("stock", "use", "SWAB", 1, "--why", "fell", "--json")
    assert (said.code, said.json["warnings"]) == (0, [])


def test_a_free_kit_of_another_site_is_not_proposed(line: Any) -> None:
    sites = """
[[site]]
name = "North"
hours = { wed = ["08:00-18:00"], tue = ["08:00-18:00"] }
[[site]]
name = "South"
hours = { wed = ["08:00-18:00"], tue = ["08:00-18:00"] }
"""
    text = PRACTICE.replace('name = "Cold one"', 'name = "Cold one"\nsite = "North"')
    text = text.replace('name = "Cold two"', 'name = "Cold two"\nsite = "South"').replace(
        'name = "Cupboard"', 'name = "Cupboard"\nsite = "North"'
    )
    hours = next(x for x in text.splitlines() if x.startswith("hours"))
    cli = line(text.replace(hours + "\n", "") + sites)
    received(cli, into="Cold two")
    cli.ok("--site", "South", "warmup", "pull", "--product", "KIT", "--lot", "A1", now=f"{TUESDAY}T08:00:00+00:00")
    cli.ok("--site", "North", "booking", "add", "white", "--start", f"{WEDNESDAY}T10:00", "--patient", "P-1")
    cli.now = EVENING
    (b,) = cli.ask("--site", "North", "booking", "done")["bookings"]
    assert b["proposed"]["kits"] == [] and "no KIT is out for it" in b["proposed"]["breaches"]
