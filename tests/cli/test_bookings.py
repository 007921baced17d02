"""Bookings, warm-up and use through the command line: the scheduler's and the assistant's day."""

from collections.abc import Callable

import pytest
from conftest import PRACTICE, Line


def stock(
    line: Line,
    n: int = 4,
    lot: str = "A1",
    expiry: str = "2026-12-31",
    at: str = "2026-03-02T08:00",
    into: str = "Cold one",
) -> None:
    line.ok("stock", "receive", "KIT", "--lot", lot, "--expiry", expiry, "--quantity", n, "--into", into, "--at", at)


def swabs(line: Line, n: int = 50) -> None:
    line.ok(
        "stock",
        "receive",
        "SWAB",
        "--lot",
        "S1",
        "--expiry",
        "2028-01",
        "--quantity",
        n,
        "--into",
        "Cupboard",
        "--at",
        "2026-03-02T08:00",
    )


def book(line: Line, start: str, patient: str = "P-1", *more: object, now: str | None = None) -> dict:
    return line.ask("booking", "add", "white", "--start", start, "--patient", patient, *more, now=now)


def rows(line: Line, **more: str) -> list[dict]:
    args = [x for k, v in more.items() for x in (f"--{k.replace('_', '-')}", v)]
    return line.ask("warmup", "check", *args)["bookings"]


def test_a_booking_ends_after_its_minutes_and_cycles(both: Line) -> None:
    # derived: 45 + 6 x 10 = 105 minutes
    stock(both)
    said = book(both, "2026-03-04T10:00")
    assert (said["start"], said["end"], said["cycles"], said["state"]) == (
        "2026-03-04T09:00:00Z",
        "2026-03-04T10:45:00Z",
        6,
        "booked",
    )
    assert book(both, "2026-03-05T10:00", "P-2", "--cycles", 8)["end"] == "2026-03-05T11:05:00Z"


def test_take_out_times(both: Line) -> None:
    stock(both)
    (row,) = book(both, "2026-03-04T10:00")["warmup"]
    # derived: 24 h before the start; 72 h before the end
    assert (row["take_out_by"], row["take_out_from"], row["take_out_staffed_by"]) == (
        "2026-03-03T09:00:00Z",
        "2026-03-01T10:45:00Z",
        "2026-03-03T09:00:00Z",
    )
    assert (row["state"], row["lot"], row["pull"]) == ("planned", "A1", None)


@pytest.mark.parametrize(
    ("zone", "start", "by"),
    [
        # derived: 24 h of elapsed time over the clock changes of 2026
        ("Europe/Amsterdam", "2026-03-29T10:00", "2026-03-28T09:00:00+01:00"),
        ("Europe/Amsterdam", "2026-10-25T10:00", "2026-10-24T11:00:00+02:00"),
        ("Europe/London", "2026-03-29T13:00", "2026-03-28T12:00:00+00:00"),
    ],
)
def test_24_hours_are_24_hours_when_the_clocks_change(
    line: Callable[..., Line], zone: str, start: str, by: str
) -> None:
    from datetime import datetime

    cli = line(PRACTICE.replace("Europe/Amsterdam", zone))
    cli.now = "2026-03-02T09:00:00+00:00"
    stock(cli)
    (row,) = book(cli, start)["warmup"]
    assert datetime.fromisoformat(row["take_out_by"]) == datetime.fromisoformat(by)


def test_the_weekend_before_a_monday_morning(line: Callable[..., Line]) -> None:
    # derived: Saturday and Sunday closed, Friday to 16:00, max out 72 h, 105 minutes on Monday 09:00:
    # from Friday 10:45, by Sunday 09:00, staffed by Friday 16:00 with margin 0
    cli = line()
    stock(cli)
    (row,) = book(cli, "2026-03-09T09:00")["warmup"]
    assert (row["take_out_from"], row["take_out_by"], row["take_out_staffed_by"]) == (
        "2026-03-06T09:45:00Z",
        "2026-03-08T08:00:00Z",
        "2026-03-06T15:00:00Z",
    )


def test_every_state_as_the_days_go_by(both: Line) -> None:
    stock(both, n=1)
    book(both, "2026-03-04T10:00")

    def state(now: str) -> str:
        return both.ask("warmup", "check", now=now)["bookings"][0]["state"]

    assert state("2026-03-02T12:00:00+00:00") == "planned"
    assert state("2026-03-03T07:30:00+00:00") == "due"
    assert state("2026-03-03T09:00:01+00:00") == "late"
    both.ok("warmup", "pull", "B-1", "--at", "2026-03-03T09:30", now="2026-03-03T08:35:00+00:00")
    assert state("2026-03-03T09:00:01+00:00") == "warming"
    assert state("2026-03-04T08:30:00+00:00") == "ready"


def test_late_names_the_earliest_start_and_short_when_nothing_is_left(cli: Line) -> None:
    stock(cli, n=1)
    said = book(cli, "2026-03-03T09:00")  # now Monday 10:00: 23 hours are too few
    (row,) = said["warmup"]
    # derived: out now, warm Tuesday 10:00, and 105 minutes fit before 18:00
    assert (row["state"], row["earliest_start"]) == ("late", "2026-03-03T09:00:00Z")
    assert cli("warmup", "check").code == 1
    said = book(cli, "2026-03-05T09:00", "P-2")
    assert said["warmup"][0]["state"] == "planned"
    said = book(cli, "2026-03-06T09:00", "P-3")
    assert said["warmup"][0]["state"] == "short"
    assert said["warmup"][0]["earliest_start"] is None


def test_blocked_when_nobody_is_there_in_time(cli: Line) -> None:
    stock(cli)
    friday_evening = "2026-03-06T16:00:00+00:00"  # 17:00, closed since 16:00
    said = cli.ask("booking", "add", "white", "--start", "2026-03-09T09:00", "--patient", "P-1", now=friday_evening)
    assert said["warmup"][0]["state"] == "blocked"
    # derived: in on Monday 08:00, warm on Tuesday 08:00
    assert said["warmup"][0]["earliest_start"] == "2026-03-10T07:00:00Z"


def test_held_expired_and_undated_stock_is_not_planned_with(both: Line) -> None:
    stock(both, n=1, lot="HELD")
    stock(both, n=1, lot="SOON", expiry="2026-03-03")
    both.ok("stock", "quarantine", "KIT", "HELD", "--why", "torn")
    both.file("open.csv", "product,lot,expiry,quantity,place\nKIT,NODATE,,1,Cold one\n")
    both.ok("stock", "opening", "open.csv", "--at", "2026-03-02T08:00")
    (row,) = book(both, "2026-03-04T10:00")["warmup"]
    assert row["state"] == "short"
    assert "quarantine" in row["why"]
    both.ok("stock", "release", "KIT", "HELD", "--why", "only the carton", "--by", "AB")
    assert [(r["state"], r["lot"]) for r in rows(both)] == [("planned", "HELD")]


def test_the_kit_must_last_to_the_end_of_the_booking(cli: Line) -> None:
    stock(cli, n=1)
    cli.ok("warmup", "pull", "--product", "KIT", "--lot", "A1", "--at", "2026-03-02T08:30")
    # out Monday 08:30, use by Thursday 08:30: a booking on Thursday 08:00 ends at 09:45
    assert book(cli, "2026-03-05T08:00")["warmup"][0]["state"] == "short"
    assert book(cli, "2026-03-04T16:00", "P-2")["warmup"][0]["pull"] == "P-1"


def test_a_pull_takes_what_the_booking_needs_once(both: Line) -> None:
    stock(both, n=2, lot="LATE", expiry="2027-06-30")
    stock(both, n=2, lot="SOON", expiry="2026-09-30")
    book(both, "2026-03-03T11:00")
    said = both.ask("warmup", "pull", "B-1", "--at", "2026-03-02T10:00")
    assert [(p["pull"], p["lot"], p["ready_at"], p["use_by"]) for p in said["pulls"]] == [
        ("P-1", "SOON", "2026-03-03T09:00:00Z", "2026-03-05T09:00:00Z")
    ]
    assert both("warmup", "pull", "B-1").code == 3
    assert both.ask("warmup", "pull", "B-1", "--extra")["pulls"][0]["pull"] == "P-2"
    assert any("P-1" in line for line in both("stock", "list").out.splitlines())


def test_too_early_and_too_late_are_recorded_and_named(cli: Line) -> None:
    stock(cli)
    book(cli, "2026-03-09T09:00")
    said = cli("warmup", "pull", "B-1", "--json")
    assert said.code == 1
    assert any("may be used until" in w for w in said.json["warnings"])
    book(cli, "2026-03-03T09:00", "P-2")
    said = cli("warmup", "pull", "B-2", "--json")
    assert any("is warm at" in w for w in said.json["warnings"])


def test_a_cancelled_booking_frees_its_kit_and_a_moved_one_keeps_it_while_it_can_serve(both: Line) -> None:
    stock(both, n=1)
    book(both, "2026-03-03T11:00")
    both.ok("warmup", "pull", "B-1", "--at", "2026-03-02T10:00")
    (row,) = both.ask("booking", "move", "B-1", "--start", "2026-03-04T11:00")["warmup"]
    assert (row["pull"], row["state"]) == ("P-1", "warming")
    book(both, "2026-03-04T15:00", "P-2")
    assert [r["state"] for r in rows(both)] == ["warming", "short"]
    both.ok("booking", "cancel", "B-1", "--why", "rang")
    assert [(r["booking"], r["pull"], r["state"]) for r in rows(both)] == [("B-2", "P-1", "warming")]
    moved = both("booking", "move", "B-2", "--start", "2026-03-12T15:00", "--json")
    assert moved.json["warmup"][0]["state"] == "short"


def test_a_kit_that_went_back_keeps_its_hours(line: Callable[..., Line]) -> None:
    cli = line(PRACTICE.replace("max_out_hours = 72", "max_out_hours = 72\nreturnable = true"))
    stock(cli, n=1)
    cli.ok("warmup", "pull", "--product", "KIT", "--lot", "A1", "--at", "2026-03-02T08:00")
    cli.ok("warmup", "back", "P-1", "--at", "2026-03-02T18:00", now="2026-03-02T17:00:00+00:00")
    said = cli.ask(
        "warmup", "pull", "--product", "KIT", "--lot", "A1", "--at", "2026-03-03T08:00", now="2026-03-03T08:00:00+00:00"
    )
    # derived: 72 h less the 10 h it was out, from 08:00 on the 3rd: 22:00 on the 5th
    assert said["pulls"][0]["use_by"] == "2026-03-05T21:00:00Z"


def test_a_kit_that_may_not_go_back_is_held(cli: Line) -> None:
    stock(cli, n=1)
    cli.ok("warmup", "pull", "--product", "KIT", "--lot", "A1", "--at", "2026-03-02T08:00")
    said = cli("warmup", "back", "P-1", "--json")
    assert said.code == 1
    assert [(r["place"], r["state"]) for r in cli.ask("stock", "list")["lots"]] == [("Cold one", "quarantined")]


# -- what a procedure uses


@pytest.mark.parametrize(("cycles", "swabs_used"), [(6, 0), (7, 1), (8, 1)])
def test_what_the_kit_contains_goes_before_loose_stock(cli: Line, cycles: int, swabs_used: int) -> None:
    # common practice, no source: one swab for two cycles and one spare: 6 -> 4, 7 -> 5, 8 -> 5; 4 come in the kit
    stock(cli)
    swabs(cli)
    book(cli, "2026-03-03T11:00")
    cli.ok("warmup", "pull", "B-1", "--at", "2026-03-02T10:00")
    said = cli.ask("booking", "done", "B-1", "--cycles", cycles, now="2026-03-03T18:00:00+00:00")
    used = {u["product"]: u["quantity"] for u in said["used"]}
    assert used == {"KIT": 1} | ({"SWAB": swabs_used} if swabs_used else {})
    assert said["at"] == "2026-03-03T10:00:00Z"  # at the booking's own time, not when it was typed


def test_done_names_kit_and_lots_and_what_it_broke(both: Line) -> None:
    stock(both, n=3)
    swabs(both)
    book(both, "2026-03-03T11:00")
    both.ok("warmup", "pull", "B-1", "--at", "2026-03-02T10:00")
    evening = "2026-03-03T18:00:00+00:00"
    said = both("booking", "done", "B-1", "--used", "SWAB=2", "--json", now=evening)
    assert said.code == 0
    assert [(u["product"], u["lot"], u["pull"], u["quantity"]) for u in said.json["used"]] == [
        ("KIT", "A1", "P-1", 1),
        ("SWAB", "S1", None, 2),
    ]
    assert both("booking", "done", "B-1", now=evening).code == 3
    assert both.ask("booking", "list", now=evening)["bookings"][0]["state"] == "done"
    # straight from the fridge: recorded, and named
    both.ok(
        "booking",
        "add",
        "white",
        "--start",
        "2026-03-03T14:00",
        "--patient",
        "P-2",
        "--at",
        "2026-03-02T10:00",
        now=evening,
    )
    said = both("booking", "done", "B-2", "--json", now=evening)
    assert said.code == 1
    assert any("without its warm-up" in w for w in said.json["warnings"])
    trace = both.ask("trace", "lot", "KIT", "A1", now=evening)
    assert (trace["received"], trace["used"], trace["on_hand"], trace["out"], trace["difference"]) == (3, 2, 1, 0, 0)
    assert [(b["booking"], b["patient"], b["quantity"]) for b in trace["bookings"]] == [
        ("B-1", "P-1", 1),
        ("B-2", "P-2", 1),
    ]


def test_a_kit_used_before_it_was_warm_after_its_time_expired_or_held(cli: Line) -> None:
    stock(cli, n=1, lot="COOL")
    stock(cli, n=1, lot="OVER", expiry="2026-03-04")
    stock(cli, n=1, lot="HELD")
    stock(cli, n=1, lot="LONG")
    now = "2026-03-06T18:00:00+00:00"
    cli.ok("warmup", "pull", "--product", "KIT", "--lot", "LONG", "--at", "2026-03-02T09:00")
    cli.ok("warmup", "pull", "--product", "KIT", "--lot", "COOL", "--at", "2026-03-05T09:00", now=now)
    cli.ok("warmup", "pull", "--product", "KIT", "--lot", "OVER", "--at", "2026-03-03T09:00", now=now)
    cli.ok("warmup", "pull", "--product", "KIT", "--lot", "HELD", "--at", "2026-03-04T09:00", now=now)
    cli.ok("stock", "quarantine", "KIT", "HELD", "--why", "torn", "--at", "2026-03-04T10:00", now=now)
    for n, (pull, word) in enumerate(
        [("P-2", "warm only at"), ("P-3", "after its expiry"), ("P-4", "in quarantine"), ("P-1", "after its use-by")], 1
    ):
        cli.ok(
            "booking",
            "add",
            "white",
            "--start",
            "2026-03-05T12:00",
            "--patient",
            f"P-{n}",
            "--at",
            "2026-03-02T09:00",
            now=now,
        )
        said = cli("booking", "done", f"B-{n}", "--pull", pull, "--json", now=now)
        assert said.code == 1
        assert any(word in w for w in said.json["warnings"]), (word, said.json["warnings"])
        assert any(word in b for b in cli.ask("trace", "booking", f"B-{n}", now=now)["breaches"])


def test_missed_sealed_or_opened(both: Line) -> None:
    stock(both, n=2)
    book(both, "2026-03-03T11:00")
    book(both, "2026-03-03T15:00", "P-2")
    both.ok("warmup", "pull", "B-1", "--at", "2026-03-02T10:00")
    both.ok("warmup", "pull", "B-2", "--at", "2026-03-02T10:00")
    now = "2026-03-03T18:00:00+00:00"
    assert both("booking", "missed", "B-1", now=now).code == 3
    both.ok("booking", "missed", "B-1", "--kit", "sealed", now=now)
    said = both.ask("booking", "missed", "B-2", "--kit", "opened", now=now)
    assert [(u["pull"], u["quantity"]) for u in said["used"]] == [("P-2", 1)]
    places = [(r["place"], r.get("pull")) for r in both.ask("stock", "list", now=now)["lots"]]
    assert places == [("out", "P-1")]


def test_the_evenings_catch_up(cli: Line) -> None:
    stock(cli)
    book(cli, "2026-03-02T11:00", "P-1", now="2026-02-27T09:00:00+00:00")
    said = cli("booking", "done", "--json", now="2026-03-02T18:00:00+00:00")
    assert said.code == 1
    assert [b["booking"] for b in said.json["bookings"]] == ["B-1"]
    assert cli("booking", "done", "B-1", now="2026-03-02T08:00:00+00:00").code == 3  # it has not begun


# -- files and names


EXPORT = """id,procedure,start,patient,cycles,state,made
X1,white,2026-03-05T10:00,P-1,6,booked,2026-03-01T09:00:00Z
X2,white,2026-03-06T10:00,P-2,,booked,
"""


def test_an_import_is_idempotent_and_knows_moves_and_cancellations(both: Line) -> None:
    both.file("one.csv", EXPORT)
    said = both.ask("booking", "import", "one.csv")
    assert (said["added"], said["unchanged"]) == (["B-1", "B-2"], 0)
    again = both.ask("booking", "import", "one.csv")
    assert (again["added"], again["moved"], again["cancelled"], again["unchanged"]) == ([], [], [], 2)
    both.file(
        "two.csv", EXPORT.replace("2026-03-05T10:00", "2026-03-05T14:00").replace("P-2,,booked", "P-2,,cancelled")
    )
    said = both.ask("booking", "import", "two.csv")
    assert (said["added"], said["moved"], said["cancelled"]) == ([], ["B-1"], ["B-2"])
    found = both.ask("booking", "list")["bookings"]
    assert [(b["booking"], b["external_id"], b["start"], b["state"]) for b in found] == [
        ("B-1", "X1", "2026-03-05T13:00:00Z", "booked"),
        ("B-2", "X2", "2026-03-06T09:00:00Z", "cancelled"),
    ]
    # Known from when it was made: on the first of March there was one booking.
    assert [b["external_id"] for b in both.ask("booking", "list", "--as-of", "2026-03-01T12:00")["bookings"]] == ["X1"]


def test_an_event_that_is_missing_is_not_cancelled_unless_asked_and_agreed(cli: Line) -> None:
    cli.file("one.csv", EXPORT + "X3,white,2026-03-09T10:00,P-3,,booked,\n")
    cli.ok("booking", "import", "one.csv")
    cli.file(
        "two.csv",
        "\n".join([EXPORT.splitlines()[0], EXPORT.splitlines()[1], "X3,white,2026-03-09T10:00,P-3,,booked,", ""]),
    )
    assert cli.ask("booking", "import", "two.csv")["cancelled"] == []
    assert cli("booking", "import", "two.csv", "--cancel-missing").code == 3
    assert cli.ask("booking", "import", "two.csv", "--cancel-missing", "--yes")["cancelled"] == ["B-2"]


def test_lines_that_name_something_unknown_are_reported_and_left_out(cli: Line) -> None:
    cli.file(
        "one.csv",
        EXPORT
        + "X3,whitening,2026-03-09T10:00,P-3,,booked,\nX4,white,2026-03-29T02:30,P-4,,booked,\nX5,white,2026-03-09T10:00,Anna Berg,,booked,\n",
    )
    said = cli("booking", "import", "one.csv", "--json")
    assert said.code == 1
    assert [r["line"] for r in said.json["rejected"]] == [5, 4, 6] or sorted(
        r["line"] for r in said.json["rejected"]
    ) == [4, 5, 6]
    assert said.json["added"] == ["B-1", "B-2"]


@pytest.mark.parametrize("name", ["Anna Berg", "Berg", "1984-05-06", "06.05.1984", "06051984", "+31 20 555 0100", ""])
def test_a_patient_is_never_a_name_a_birth_date_or_a_telephone(cli: Line, name: str) -> None:
    said = cli("booking", "add", "white", "--start", "2026-03-05T10:00", "--patient", name)
    assert said.code == 3
    assert cli.ask("booking", "list")["bookings"] == []


@pytest.mark.parametrize(
    ("args", "word"),
    [
        (("booking", "add", "white", "--start", "2026-03-29T02:30", "--patient", "P-1"), "03:00"),  # the skipped hour
        (("booking", "add", "white", "--start", "2026-10-25T02:30", "--patient", "P-1"), "+02:00"),  # the doubled hour
        (("booking", "add", "white", "--start", "3/4/2026 10:00", "--patient", "P-1"), "2026"),
        (("booking", "add", "whit", "--start", "2026-03-05T10:00", "--patient", "P-1"), "white"),
        (("booking", "add", "white", "--start", "2026-03-05T10:00", "--patient", "P-1", "--cycles", "-1"), "cycles"),
        (("booking", "move", "B-9", "--start", "2026-03-05T10:00"), "B-9"),
        (("booking", "cancel", "B-9", "--why", "x"), "B-9"),
        (("booking", "done", "B-9"), "B-9"),
        (("booking", "missed", "B-9", "--kit", "lost"), "sealed"),
        (("booking", "import", "nowhere.csv"), "nowhere.csv"),
        (("warmup", "pull", "B-9"), "B-9"),
        (("warmup", "pull"), "B-7"),
        (("warmup", "pull", "--product", "SWAB", "--lot", "S"), "no warm-up"),
        (("warmup", "back", "P-9"), "P-9"),
        (("warmup", "when", "nothing"), "white"),
        (("trace", "booking", "B-9"), "B-9"),
        (("practice", "closed", "3/4/2026", "--why", "x"), "2026"),
        (("practice", "closed", "2026-03-03", "--why", "x", "--from", "25:00"), "25:00"),
    ],
)
def test_wrong_input_is_one_message_and_writes_nothing(cli: Line, args: tuple[str, ...], word: str) -> None:
    said = cli(*args)
    assert said.code in (2, 3), said
    assert said.out == ""
    assert word in said.err
    assert "Traceback" not in said.err
    assert len(cli.ask("records", "history")["entries"]) == 1


def test_a_sick_day_says_what_it_breaks_and_may_be_taken_back(both: Line) -> None:
    stock(both)
    book(both, "2026-03-04T10:00")  # to be taken out by Tuesday 10:00
    said = both("practice", "closed", "2026-03-04", "--why", "ill", "--json")
    assert said.code == 1
    assert said.json["broken"] == ["B-1"]
    both.ok("practice", "open", "2026-03-04", "--why", "better again")
    assert both("warmup", "check").code == 0
    # Tuesday closed: the kit can still be taken out today, Monday (from Sunday 11:45 on).
    both.ok("practice", "closed", "2026-03-03", "--why", "ill")
    assert rows(both)[0]["take_out_staffed_by"] == "2026-03-02T17:00:00Z"
    assert rows(both)[0]["state"] == "due"


def test_times_for_the_telephone(both: Line) -> None:
    stock(both, n=1)
    said = both.ask("warmup", "when", "white", "--days", 3)
    # derived: now Monday 10:00; a kit out now is warm on Tuesday 10:00; 105 minutes fit until 16:15
    assert [(t["day"], t["first_start"], t["last_start"]) for t in said["times"]][:2] == [
        ("2026-03-03", "2026-03-03T09:00:00Z", "2026-03-03T15:15:00Z"),
        ("2026-03-04", "2026-03-04T07:00:00Z", "2026-03-04T15:15:00Z"),
    ]
    book(both, "2026-03-04T10:00")
    assert both.ask("warmup", "when", "white", "--days", 3)["times"] == []


def test_the_sheet_for_the_fridge_door(cli: Line) -> None:
    stock(cli)
    book(cli, "2026-03-04T10:00")
    said = cli.ask("warmup", "list", "--day", "2026-03-03")
    assert [(r["by"], r["booking"], r["lot"], r["place"]) for r in said["take_out"]] == [
        ("2026-03-03T09:00:00Z", "B-1", "A1", "Cold one")
    ]
    assert cli.ask("warmup", "list")["take_out"] == []
