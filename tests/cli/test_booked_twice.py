"""A booking typed in and then imported: told of, and joined by one line; an outside id is never a name.

Derived from the tests' practice: a kit warms for 24 h, Amsterdam is UTC+1.
"""

from typing import Any

import pytest
from conftest import Line
from databases import everything

HEAD = "id,procedure,start,patient\n"


def take(cli: Line, rows: str, *options: str, now: str | None = None) -> Any:
    cli.file("a.csv", HEAD + rows)
    return cli.ask("booking", "import", "a.csv", *options, now=now)


def states(cli: Line) -> dict[str, tuple[str | None, str]]:
    return {b["booking"]: (b["external_id"], b["state"]) for b in cli.ask("booking", "list")["bookings"]}


def typed_in(cli: Line, start: str = "2026-03-10T10:00", patient: str = "P-1") -> None:
    cli.ok(
        "stock", "receive", "KIT", "--lot", "A1", "--expiry", "2026-12-31", "--quantity", 9, "--into", "Cold one",
        "--arrived-at", "4",
    )  # fmt: skip
    cli.ok("booking", "add", "white", "--start", start, "--patient", patient)


def test_without_a_terminal_it_is_told_of_and_one_line_joins_them(both: Line) -> None:
    typed_in(both)
    both.file("a.csv", HEAD + "K1,white,2026-03-10T10:15,P-1\n")
    said = both("booking", "import", "a.csv")
    assert said.code == 1 and "B-2 (K1) and B-1 for P-1" in said.out
    assert "-> if it is the same one: stockroom booking link B-1 K1" in said.out
    both.ok("warmup", "pull", "B-2", now="2026-03-09T08:00:00+00:00")
    both.now = "2026-03-09T08:10:00+00:00"
    joined = both.ask("booking", "link", "B-1", "K1")
    assert (joined["booking"], joined["double"], joined["external_id"]) == ("B-1", "B-2", "K1")
    assert states(both) == {"B-1": ("K1", "booked"), "B-2": (None, "cancelled")}
    (row,) = both.ask("warmup", "check")["bookings"]
    assert (row["booking"], row["pull"]) == ("B-1", "P-1")  # the kit that was taken out for the double is for this one
    again = take(both, "K1,white,2026-03-10T10:15,P-1\n")
    assert (again["moved"], again["added"], again["warnings"]) == (["B-1"], [], [])
    both.ok("undo", joined["entry"], "--why", "two after all")
    assert both("records", "verify").code == 0 and states(both)["B-2"] == ("K1", "booked")


@pytest.mark.parametrize(
    ("row", "warned"),
    [
        ("K1,white,2026-03-10T16:30,P-1", True),
        ("K1,white,2026-03-11T10:00,P-1", False),  # another day
        ("K1,white,2026-03-10T10:00,P-2", False),  # another patient
        ("K1,white,2026-03-10T10:00,P-1\nK1,white,2026-03-12T10:00,P-1", False),  # the later line stands
    ],
)
def test_only_the_same_patient_on_the_same_day_is_told_of(cli: Line, row: str, warned: bool) -> None:
    typed_in(cli)
    assert any("perhaps for the same" in w for w in take(cli, row + "\n")["warnings"]) is warned


def test_two_bookings_of_one_file_are_two(cli: Line) -> None:
    rows = "K1,white,2026-03-10T10:00,P-1\nK2,white,2026-03-10T14:00,P-1\n"
    first, again = take(cli, rows), take(cli, rows.replace("T14", "T15") + "K3,white,2026-03-10T16:00,P-1\n")
    assert (first["added"], again["moved"], again["added"]) == (["B-1", "B-2"], ["B-2"], ["B-3"])
    assert not any("perhaps" in w for w in first["warnings"] + again["warnings"])


def test_what_may_be_two_is_not_joined(cli: Line) -> None:
    typed_in(cli)
    take(cli, "K1,white,2026-03-10T10:00,P-2\n")
    said = cli("booking", "link", "B-1", "K1")
    assert said.code == 3 and "booking cancel B-2 --why double" in said.err
    # and what that advises is possible
    cli.ok("booking", "cancel", "B-2", "--why", "double")
    assert cli.ask("booking", "link", "B-1", "K1")["double"] == "B-2"
    assert states(cli)["B-1"] == ("K1", "booked")


def test_what_is_over_is_not_joined(cli: Line) -> None:
    typed_in(cli)
    take(cli, "K1,white,2026-03-10T10:00,P-1\n")
    cli.now = "2026-03-10T12:00:00+00:00"
    cli.ok("booking", "missed", "B-2")
    assert cli("booking", "link", "B-1", "K1").code == 3
    cli.ok("booking", "done", "B-1")
    assert cli("booking", "link", "B-1", "K1").code == 3 and states(cli)["B-2"][1] == "missed"


@pytest.mark.parametrize("name", ["Anna Berg", "Berg, Anna 7", "x" * 256])
def test_an_outside_id_is_no_name(cli: Line, name: str) -> None:
    typed_in(cli)
    quoted = f'"{name}",white,2026-03-11T10:00,P-9\n'
    said = take(cli, quoted)
    assert said["added"] == [] and "id looks like a name" in said["rejected"][0]["why"]
    assert cli("booking", "link", "B-1", name).code == 3
    assert name not in everything(cli.where)
