"""Tables of bookings from any export: columns, states and procedures by the file's own words, remembered.

Source: derived from the files, which are made up; Amsterdam is UTC+1 in March before the 29th.
"""

from typing import Any

import pytest
from conftest import Line

EXPORT = (
    "Ref;Treatment;Day;Clock;File no;Status\n"
    "R1;Bleaching;13/03/2026;10:00;P-1;Confirmed\n"
    "R2;Bleaching;03/04/2026;11:30;P-2;Storno\n"
)
WORDS = (
    "--column", "id=Ref", "--column", "procedure=Treatment", "--column", "date=Day", "--column", "time=Clock",
    "--column", "patient=File no", "--column", "state=Status", "--state", "booked=Confirmed", "--state",
    "cancelled=storno", "--procedure", "white=bleaching",
)  # fmt: skip


def take(cli: Line, text: str, *options: str) -> Any:
    cli.file("e.csv", text)
    return cli.ask("booking", "import", "e.csv", *options)


def test_an_export_of_any_words_and_the_next_one_without_a_word(cli: Line) -> None:
    assert take(cli, EXPORT, *WORDS)["added"] == ["B-1"]
    found = cli.ask("booking", "list")["bookings"]
    assert [(b["external_id"], b["start"], b["procedure"], b["state"]) for b in found] == [
        ("R1", "2026-03-13T09:00:00Z", "white", "booked"),
        ("R2", "2026-04-03T09:30:00Z", "white", "cancelled"),
    ]
    said = take(cli, EXPORT.replace("R1;Bleaching;13/03", "R1;Bleaching;16/03"))
    assert (said["moved"], said["rejected"]) == (["B-1"], [])


def test_a_date_that_could_be_two_is_refused_until_said_and_that_is_remembered(cli: Line) -> None:
    text = EXPORT.replace("13/03/2026", "05/03/2026")
    cli.file("e.csv", text)
    said = cli("booking", "import", "e.csv", *WORDS)
    assert said.code == 3 and "5 March 2026 or 3 May 2026" in said.err and "--day-first" in said.err
    assert cli.ask("booking", "list")["bookings"] == []
    take(cli, text, *WORDS, "--day-first")
    said = take(cli, text.replace("05/03/2026", "06/03/2026"))
    assert said["moved"] == ["B-1"]
    assert cli.ask("booking", "list")["bookings"][0]["start"] == "2026-03-06T09:00:00Z"


def test_what_was_remembered_is_named_where_it_does_not_fit_and_can_be_taken_back(cli: Line) -> None:
    take(cli, EXPORT, *WORDS)
    plain = "id,procedure,start,patient\nX1,white,2026-03-05T10:00,P-3\n"
    cli.file("e.csv", plain)
    said = cli("booking", "import", "e.csv")
    assert said.code == 3 and 'id="Ref"' in said.err and "was remembered" in said.err
    forget = [w for c in ("id", "procedure", "date", "time", "patient", "state") for w in ("--column", f"{c}=")]
    assert take(cli, plain, *forget)["added"] == ["B-3"]
    assert take(cli, plain)["unchanged"] == 1


def test_a_line_that_cannot_be_read_is_not_missing(cli: Line) -> None:
    head = "id,procedure,start,patient\n"
    rows = [f"X{d},white,2026-03-0{d}T10:00,P-{d}\n" for d in (3, 4, 5)]
    take(cli, head + "".join(rows))
    broken = head + rows[0] + rows[1].replace("T10:00", " soon") + rows[2]
    assert take(cli, broken, "--cancel-missing")["cancelled"] == []


@pytest.mark.parametrize(
    ("options", "word"),
    [
        (("--column", "start"), "OURS=THEIRS"),
        (("--column", "beginning=Day"), 'no column "beginning"'),
        (("--state", "here=Confirmed"), "no state"),
        (("--procedure", "whit=x"), "white"),
        (("--patient-pattern", "P-["), "no pattern"),
        (("--column", "date=Day", "--column", "id=Ref"), "Treatment"),
    ],
)
def test_what_cannot_be_meant_is_refused(cli: Line, options: tuple[str, ...], word: str) -> None:
    cli.file("e.csv", EXPORT)
    said = cli("booking", "import", "e.csv", *options)
    assert said.code == 3 and word in said.err and said.out == ""


def test_an_export_in_other_words_is_told_how_to_say_them(cli: Line) -> None:
    cli.file("e.csv", EXPORT)
    said = cli("booking", "import", "e.csv")
    assert said.code == 3 and '"Ref"' in said.err and "--column id=" in said.err
    said = take(cli, EXPORT, *WORDS[:12])
    assert [r["why"] for r in said["rejected"]] == [
        f'the state "{w}" is neither booked nor cancelled: say --state booked="{w}", or --state cancelled="{w}"'
        for w in ("Confirmed", "Storno")
    ]
    said = take(cli, EXPORT, *WORDS[:16])
    assert [r["why"] for r in said["rejected"]] == [
        'there is no procedure "Bleaching": say --procedure white="Bleaching"'
    ] * 2
    assert take(cli, EXPORT, *WORDS)["added"] == ["B-1"]


def test_what_is_remembered_is_said(cli: Line) -> None:
    first = take(cli, EXPORT, *WORDS, "--day-first")["notes"]
    assert first == [
        "remembered for the next file: the columns, the words for states, the words for procedures, that dates are day first"
    ]
    assert take(cli, EXPORT)["notes"] == []
    said = take(cli, EXPORT.replace("13/03", "03/13"), "--month-first")["notes"]
    assert said == ["remembered for the next file: that dates are month first"]


def test_more_cycles_than_the_procedure_has_are_named(cli: Line) -> None:
    rows = "id,procedure,start,patient,cycles\nX1,white,2026-03-05T10:00,P-3,9\nX2,white,2026-03-06T10:00,P-4,8\n"
    cli.file("e.csv", rows)
    said = cli("booking", "import", "e.csv", "--json")
    assert said.code == 1 and "B-1: 9 cycles are more than the 8 of white" in said.json["warnings"]
    assert not any("B-2:" in w for w in said.json["warnings"])
    assert take(cli, rows)["unchanged"] == 2
