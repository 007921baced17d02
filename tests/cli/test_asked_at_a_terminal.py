"""What an import of bookings asks a person, on a real terminal, and what it does where nobody can be asked.

Derived from the files, which are made up; Amsterdam is UTC+1 in March before the 29th and UTC+2 from then on.
"""

import sys
from typing import Any

import pytest
from conftest import Line

if sys.platform == "win32":
    pytest.skip("there is no pseudo-terminal", allow_module_level=True)

from terminal import at_a_terminal

AT = ("--at", "2026-03-02T10:00")
NOW = "2026-03-04T12:00:00+00:00"
HEAD = "id,procedure,start,patient\n"
AMBIGUOUS = HEAD + "K1,white,03/04/2026 10:00,P-1\nK2,white,05/06/2026 11:00,P-2\n"
ASKED = "Day first or month first? [d/m]"


@pytest.fixture
def cli(line: Any) -> Line:
    """Two days after what is typed in, so that nothing lies ahead."""
    made: Line = line()
    made.now = NOW
    return made


def starts(cli: Line) -> dict[str, str]:
    found = cli.ask("booking", "list", "--as-of", "2026-03-02T12:00")["bookings"]
    return {b["external_id"] or b["booking"]: b["start"] for b in found if b["state"] == "booked"}


@pytest.mark.parametrize(
    ("typed", "first", "second"),
    [("d", "2026-04-03T08:00:00Z", "2026-06-05T09:00:00Z"), ("month", "2026-03-04T09:00:00Z", "2026-05-06T09:00:00Z")],
)
def test_dates_that_could_be_two_are_asked_about_and_the_answer_is_remembered(
    cli: Line, typed: str, first: str, second: str
) -> None:
    cli.file("a.csv", AMBIGUOUS)
    code, seen = at_a_terminal(cli, ["booking", "import", "a.csv", *AT], (ASKED, typed))
    assert code in (0, 1), seen
    for words in ("a.csv, line 2", "K1, white, 03/04/2026 10:00", "d  3 April 2026", "m  4 March 2026"):
        assert words in seen
    assert "P-1" not in seen.partition(ASKED)[0]  # a person may have typed a name there
    assert "remembered for the next file" in seen
    assert starts(cli) == {"K1": first, "K2": second}
    cli.file("b.csv", AMBIGUOUS.replace("10:00", "12:00"))
    assert cli.ask("booking", "import", "b.csv", *AT)["moved"] == ["B-1"]  # without a word, and without a terminal


@pytest.mark.parametrize("typed", ["", "y", "3 April"])
def test_no_answer_is_no_guess(cli: Line, typed: str) -> None:
    cli.file("a.csv", AMBIGUOUS)
    code, seen = at_a_terminal(cli, ["booking", "import", "a.csv", *AT], (ASKED, typed))
    assert code == 3 and "--day-first" in seen
    assert starts(cli) == {} and len(cli.ask("records", "history")["entries"]) == 1


def test_nobody_to_ask_is_a_refusal(cli: Line) -> None:
    cli.file("a.csv", AMBIGUOUS)
    said = cli("booking", "import", "a.csv", *AT)
    assert (said.code, said.out) == (3, "") and "3 April 2026 or 4 March 2026" in said.err
    assert starts(cli) == {}


def test_a_date_that_only_one_order_makes_a_day_is_not_asked_about(cli: Line) -> None:
    cli.file("a.csv", AMBIGUOUS + "K3,white,13/04/2026 10:00,P-3\n")
    code, seen = at_a_terminal(cli, ["booking", "import", "a.csv", *AT])
    assert code in (0, 1) and ASKED not in seen and starts(cli)["K1"] == "2026-04-03T08:00:00Z"


def three(cli: Line) -> str:
    rows = [f"K{n},white,2026-03-{n:02}T10:00,P-{n}\n" for n in (10, 11, 12)]
    cli.file("all.csv", HEAD + "".join(rows))
    cli.ok("booking", "import", "all.csv", *AT)
    return cli.file("less.csv", HEAD + rows[0] + rows[2])


def test_what_a_file_does_not_have_is_shown_and_cancelled_on_yes(cli: Line) -> None:
    less = three(cli)
    line = ["booking", "import", less, "--cancel-missing", *AT]
    code, seen = at_a_terminal(cli, line, ("Cancel it? [y/N]", "yes"))
    assert seen.index("B-2 (K11) white Wed 11 Mar 2026 10:00") < seen.index("Cancel it?")
    assert code == 1 and "1 cancelled" in seen and set(starts(cli)) == {"K10", "K12"}


@pytest.mark.parametrize(("typed", "ends"), [("no", 3), ("", 3), ("^C", 130)])
def test_anything_but_yes_cancels_nothing_and_records_nothing(cli: Line, typed: str, ends: int) -> None:
    less = three(cli)
    line = ["booking", "import", less, "--cancel-missing", *AT]
    code, seen = at_a_terminal(cli, line, ("Cancel it? [y/N]", typed))
    assert code == ends and len(starts(cli)) == 3
    assert len(cli.ask("records", "history")["entries"]) == 2  # init and the first import
    assert "nothing was recorded" in seen or "nothing half-written" in seen


def test_a_booking_typed_in_and_then_imported_is_asked_about_and_joined(cli: Line) -> None:
    cli.ok("booking", "add", "white", "--start", "2026-03-10T10:00", "--patient", "P-1", *AT)
    cli.file("a.csv", HEAD + "K1,white,2026-03-10T11:00,P-1\nK2,white,2026-03-10T12:00,P-2\n")
    code, seen = at_a_terminal(cli, ["booking", "import", "a.csv", *AT], ("is that B-1, white on", "y"))
    assert code in (0, 1) and "K1, white on Tue 10 Mar 2026 11:00, for P-1" in seen
    assert starts(cli) == {"K1": "2026-03-10T10:00:00Z", "K2": "2026-03-10T11:00:00Z"}  # B-1 moved to the file's time
    assert cli.ask("booking", "import", "a.csv", *AT)["unchanged"] == 2


def test_and_stays_two_where_a_person_says_so(cli: Line) -> None:
    cli.ok("booking", "add", "white", "--start", "2026-03-10T10:00", "--patient", "P-1", *AT)
    cli.file("a.csv", HEAD + "K1,white,2026-03-10T14:00,P-1\n")
    code, seen = at_a_terminal(cli, ["booking", "import", "a.csv", *AT], ("is that B-1", "n"))
    assert code == 1 and "booking link B-1 K1" in seen
    assert set(starts(cli)) == {"B-1", "K1"}


@pytest.mark.parametrize(("typed", "kit"), [("y", "opened"), ("n", "sealed"), ("", "sealed")])
def test_what_became_of_a_missed_bookings_kit_is_asked(cli: Line, typed: str, kit: str) -> None:
    cli.ok("booking", "add", "white", "--start", "2026-03-03T10:00", "--patient", "P-1", *AT)
    line = ["booking", "missed", "B-1", "--at", "2026-03-03T10:30"]
    code, seen = at_a_terminal(cli, line, ("Was its kit opened? [y/N]", typed))
    assert code in (0, 1) and f"B-1 missed, kit {kit}" in seen


@pytest.mark.parametrize(("typed", "pulls"), [("yes", 1), ("no", 0)])
def test_a_kit_that_leaves_too_early_is_asked_about(cli: Line, typed: str, pulls: int) -> None:
    cli.ok(
        "stock", "receive", "KIT", "--lot", "A1", "--expiry", "2026-12-31", "--quantity", 9, "--into", "Cold one",
        "--arrived-at", "4", *AT,
    )  # fmt: skip
    cli.ok("booking", "add", "white", "--start", "2026-03-12T10:00", "--patient", "P-1", *AT)
    line = ["warmup", "pull", "B-1", "--at", "2026-03-02T11:00"]
    code, seen = at_a_terminal(cli, line, ("Is it out all the same? [y/N]", typed))
    # derived: 72 h before the end at 11:45 on the 12th
    assert "should not leave the fridge before Mon 9 Mar 11:45" in " ".join(seen.split())
    assert code == (1 if pulls else 3)
    found = cli.ask("stock", "list", "--as-of", "2026-03-02T12:00")["lots"]
    assert sum(r["place"] == "out" for r in found) == pulls
