"""fridge sheet through the command line: the file as a reader finds it, on real databases."""

import re
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from html.parser import HTMLParser
from typing import Any

import pytest
from conftest import PRACTICE, Line

from stockroom.pages.sheet import sheet_html
from stockroom.store.engine import opened
from stockroom.tasks.month_sheet import month_sheet

NOW = "2026-04-14T09:00:00+00:00"
TWICE = PRACTICE.replace("logger_minutes = 10\n", 'logger_minutes = 10\nchecks = "twice"\n', 1)


class Page(HTMLParser):
    """The tables of a sheet as rows of cells; everything that loads or runs something."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.rows: list[list[str]] = []
        self.tags: list[str] = []
        self.loads: list[str] = []
        self.said = ""
        self.cell = False
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.loads += [
            f"{tag} {n}={v}" for n, v in attrs if n in ("src", "href", "data", "action") or n.startswith("on")
        ]
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")
            self.cell = True

    def handle_endtag(self, tag: str) -> None:
        if tag in ("td", "th"):
            self.cell = False

    def handle_data(self, data: str) -> None:
        self.said += data
        if self.cell:
            self.rows[-1][-1] += data

    def day(self, label: str) -> list[str]:
        """The first line of a day."""
        (row,) = [r for r in self.rows if r and r[0] == label]
        return row

    def lines(self, label: str) -> list[list[str]]:
        """All lines of a day."""
        first = next(i for i, r in enumerate(self.rows) if r and r[0] == label)
        found = [self.rows[first]]
        for row in self.rows[first + 1 :]:
            if not row or not re.fullmatch(r"\d\d:\d\d.*|", row[0]):
                break
            found.append(row)
        return found


def written(line: Line, month: str = "2026-03", *args: object, now: str = NOW) -> tuple[Page, Any, int]:
    """The page, the JSON answer, the exit code."""
    said = line("fridge", "sheet", "--month", month, "--out", "sheet.html", *args, "--json", now=now)
    assert said.code in (0, 1), said
    return Page((line.folder / "sheet.html").read_text(encoding="utf-8")), said.json, said.code


def log(
    line: Line, at: str, now: str, low: object = "3", high: object = "5", fridge: str = "Cold two", *more: object
) -> None:
    line.ok("fridge", "log", now, "--min", low, "--max", high, "--fridge", fridge, "--at", at, *more, now=NOW)


def logger(
    line: Line, start: str, count: int, *, minutes: int = 10, name: str = "l.csv", odd: dict[int, float] | None = None
) -> None:
    first = datetime.fromisoformat(start).replace(tzinfo=UTC)
    rows = [
        f"{first + timedelta(minutes=minutes * i):%Y-%m-%dT%H:%M:%SZ},{(odd or {}).get(i, 4.0)}" for i in range(count)
    ]
    line.file(name, "timestamp,celsius\n" + "\n".join(rows) + "\n")
    line.ok("fridge", "import", name, "--fridge", "Cold one", now=NOW)


# --- the days ---


def test_every_day_of_the_month_has_a_row_with_its_checks(cli: Line) -> None:
    log(cli, "2026-03-02T08:05", "4.1", 3.2, 5.25, "Cold two", "--note", "door <b>open</b>", "--by", "MO")
    log(cli, "2026-03-02T12:30", "4.4")
    page, answer, code = written(cli, "2026-03", "--fridge", "cold two")
    days = [r[0] for r in page.rows if r and re.fullmatch(r"(Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d+", r[0])]
    assert len(days) == 31 and days[0] == "Sun 1" and days[-1] == "Tue 31"
    first, second = page.lines("Mon 2")
    assert first == ["Mon 2", "08:05", "4.1", "3.2", "5.25", "MO", "08:05 door <b>open</b>"]
    assert second == ["12:30", "4.4", "3.0", "5.0", "AB"]
    assert answer == {
        "as_of": "2026-04-14T09:00:00Z",
        "month": "2026-03",
        "file": "sheet.html",
        # derived: March 2026 has 22 working days, one of them checked; the days after it until the 31st were missed
        "fridges": [{"fridge": "Cold two", "checks": 2, "missed": 21, "excursions": []}],
    }
    assert code == 1


def test_a_day_that_nobody_explained_is_missed_and_one_explained_says_by_whom(cli: Line) -> None:
    log(cli, "2026-03-02T08:05", "4.1")
    cli.ok("fridge", "explain", "2026-03-03", "--why", "both <ill>", "--fridge", "Cold two", "--by", "KE", now=NOW)
    page, answer, _ = written(cli, "2026-03", "--fridge", "Cold two")
    assert page.day("Tue 3") == ["Tue 3", "missed, explained", "KE explains: both <ill>"]
    assert page.day("Wed 4") == ["Wed 4", "✗ MISSED", ""]
    assert page.day("Sat 7") == ["Sat 7", "closed", ""]
    assert answer["fridges"][0]["missed"] == 20
    before, _, _ = written(cli, "2026-03", "--fridge", "Cold two", "--as-of", "2026-04-01", now=NOW)
    assert before.day("Tue 3")[1] == "✗ MISSED", "it was explained later than that"


def test_a_practice_that_checks_twice_has_an_opening_and_a_closing_check(line: Callable[..., Line]) -> None:
    cli = line(TWICE)
    for at, shown in (("2026-03-02T08:05", "4.1"), ("2026-03-02T17:40", "4.2"), ("2026-03-03T17:40", "4.3")):
        log(cli, at, shown, fridge="Cold one")
    page, _, _ = written(cli, "2026-03", "--fridge", "Cold one", "--as-of", "2026-03-05T09:00")
    both = ["08:05", "4.1", "3.0", "5.0", "AB", "17:40", "4.2", "3.0", "5.0", "AB"]
    assert page.day("Mon 2")[1:11] == both
    assert page.day("Tue 3")[1:7] == ["✗ MISSED", "17:40", "4.3", "3.0", "5.0", "AB"]
    assert page.day("Wed 4")[1:3] == ["✗ MISSED", "✗ MISSED"]
    # the 5th has begun: neither its middle nor its end is past, so nothing is missed yet
    assert set(page.day("Thu 5")[1:]) == {""} and set(page.day("Fri 6")[1:]) == {""}


def test_several_checks_a_day_stand_under_each_other(line: Callable[..., Line]) -> None:
    cli = line(TWICE)
    for hour in (8, 9, 10, 14, 15):
        log(cli, f"2026-03-02T{hour:02}:00", f"4.{hour % 10}", fridge="Cold one")
    page, _, _ = written(cli, "2026-03", "--fridge", "Cold one")
    lines = page.lines("Mon 2")
    assert [r[1 if i == 0 else 0] for i, r in enumerate(lines)] == ["08:00", "09:00", "10:00"]
    assert [r[6 if i == 0 else 5] for i, r in enumerate(lines)] == ["14:00", "15:00", ""]


def test_values_out_of_range_are_marked_by_a_sign_and_bold(cli: Line) -> None:
    log(cli, "2026-03-02T08:05", "4.1", -0.5, 8.0)
    log(cli, "2026-03-03T08:05", "8.1", 3, 9)
    log(cli, "2026-03-04T08:05", "25")
    page, answer, _ = written(cli, "2026-03", "--fridge", "Cold two")
    assert page.day("Mon 2")[2:5] == ["4.1", "▼ -0.5", "8.0"]
    assert page.day("Tue 3")[2:5] == ["▲ 8.1", "3.0", "▲ 9.0"]
    assert page.day("Wed 4")[2] == "▲ 25.0 ?", "doubtful: beyond what a fridge shows"
    text = (cli.folder / "sheet.html").read_text(encoding="utf-8")
    assert '<td class="n bad">▼ -0.5</td>' in text and ".bad { font-weight: bold; }" in text
    assert answer["fridges"][0]["excursions"] == ["E-1", "E-2"]


def test_a_value_beyond_the_keep_range_of_what_stood_inside_is_marked(cli: Line) -> None:
    log(cli, "2026-03-02T08:05", "5.0", 3, 7)
    cli.ok("stock", "receive", "KIT", "--lot", "A", "--expiry", "2026-12", "--quantity", 4, "--into", "Cold two", "--at", "2026-03-03T07:00", now=NOW)  # fmt: skip
    log(cli, "2026-03-03T08:05", "7.0", 3, 7)  # kept to 6.0
    page, _, _ = written(cli, "2026-03", "--fridge", "Cold two")
    assert page.day("Mon 2")[4] == "7.0" and page.day("Tue 3")[2:5] == ["▲ 7.0", "3.0", "▲ 7.0"]


def test_out_of_use_closed_days_and_holidays_are_said(line: Callable[..., Line]) -> None:
    closed = 'margin_minutes = 0\nclosed = [{ from = 2026-03-17, to = 2026-03-17, why = "public & holy" }]'
    cli = line(PRACTICE.replace("margin_minutes = 0", closed))
    log(cli, "2026-03-09T08:05", "4.1")
    cli.ok("fridge", "off", "Cold two", "--why", "defrosting", "--at", "2026-03-10T09:10", now=NOW)
    cli.ok("fridge", "on", "Cold two", "--at", "2026-03-12T15:20", now=NOW)
    cli.ok("practice", "closed", "2026-03-19", "--why", "flood", "--at", "2026-03-18T10:00", now=NOW)
    page, _, _ = written(cli, "2026-03", "--fridge", "Cold two")
    assert page.day("Tue 10")[-1] == "OUT OF USE from 09:10: defrosting"
    assert page.day("Wed 11")[-1] == "OUT OF USE: defrosting"
    assert page.day("Thu 12")[-1] == "OUT OF USE until 15:20: defrosting"
    assert page.day("Wed 11")[1] == "" and page.day("Fri 13")[1] == "✗ MISSED"
    assert page.day("Tue 17")[1] == "closed: public & holy" and page.day("Thu 19")[1] == "closed: flood"
    early, _, _ = written(cli, "2026-03", "--fridge", "Cold two", "--as-of", "2026-03-11T12:00")
    assert early.day("Thu 19")[1] == "", "closed later than that"


# --- the logger's day ---


def test_a_day_of_the_logger_is_the_local_day_also_where_clocks_change(cli: Line) -> None:
    # derived: 29 March 2026 in Amsterdam runs from 28 March 23:00 to 29 March 22:00 UTC, 23 hours. Readings every ten
    # minutes from the 28th 22:50 on; the one of 22:50 is still the 28th's, that of 22:00 on the 29th is the 30th's.
    odd = {0: 7.1, 1: 3.1, 138: 6.9, 139: 7.5}
    logger(cli, "2026-03-28T22:50", 400, odd=odd)
    page, _, _ = written(cli, "2026-03", "--fridge", "Cold one", "--as-of", "2026-03-31T09:00")
    assert page.day("Sat 28")[-4:-1] == ["7.1", "7.1", "1430 min"]
    assert page.day("Sun 29")[-4:-1] == ["3.1", "6.9", "0"]
    assert page.day("Mon 30")[-4:-2] == ["4.0", "7.5"]
    assert page.day("Fri 27")[-4:-1] == ["", "", ""], "no reading had ever been taken in"


def test_an_autumn_day_of_25_hours_and_an_hour_that_comes_twice(cli: Line) -> None:
    # derived: 25 October 2026 in Amsterdam runs from the 24th 22:00 to the 25th 23:00 UTC; silent from 01:00 to 04:00
    later = "2026-11-02T09:00:00+00:00"
    rows = [f"2026-10-24T{h:02}:00:00Z,4" for h in (22, 23)] + [
        f"2026-10-25T{h:02}:00:00Z,4" for h in (0, 1, 4, *range(5, 24))
    ]
    cli.file("o.csv", "timestamp,celsius\n" + "\n".join(rows) + "\n")
    cli.ok("fridge", "import", "o.csv", "--fridge", "Cold one", now=later)
    for at in ("2026-10-25T00:30:00Z", "2026-10-25T01:30:00Z"):
        cli.ok("fridge", "log", "4", "--fridge", "Cold one", "--at", at, now=later)
    # Not through the command line: a frozen clock forgets which of two equal clock times is meant.
    with opened(cli.where).reading() as conn:
        page = Page(sheet_html(month_sheet(conn, int(datetime.fromisoformat(later).timestamp()), date(2026, 10, 1))))
    page.rows = page.rows[: next(i for i, r in enumerate(page.rows) if r and r[0].startswith("Cold two"))]
    assert page.day("Sun 25")[-2] == "180 min"
    assert [r[1 if i == 0 else 0] for i, r in enumerate(page.lines("Sun 25"))] == ["02:30 (+02:00)", "02:30 (+01:00)"]


def test_a_silence_over_midnight_is_shared_between_the_days(cli: Line) -> None:
    # derived: silent from 2 March 21:00 to 3 March 05:00 UTC: 120 minutes of the 2nd, 360 of the 3rd (local midnight 23:00)
    logger(cli, "2026-03-01T23:00", 133)
    logger(cli, "2026-03-03T05:00", 109, name="m.csv")
    page, answer, _ = written(cli, "2026-03", "--fridge", "Cold one", "--as-of", "2026-03-03T23:30:00Z")
    assert page.day("Mon 2")[-2] == "120 min" and page.day("Tue 3")[-2] == "360 min"
    assert answer["fridges"][0]["excursions"] == ["E-1"], "a silence of eight hours is held"
    assert "not known" in page.said


# --- excursions ---


def test_an_excursion_with_all_that_was_decided(cli: Line) -> None:
    cli.ok("stock", "receive", "KIT", "--lot", "<A>", "--expiry", "2026-12", "--quantity", 4, "--into", "Cold one", "--at", "2026-03-02T08:00", now=NOW)  # fmt: skip
    logger(cli, "2026-03-02T08:00", 30, odd={10: 6.5, 11: 9.5})
    page, answer, code = written(cli, "2026-03", "--fridge", "Cold one")
    assert answer["fridges"][0]["excursions"] == ["E-1", "E-2"] and code == 1
    (first,) = [r for r in page.rows if r and r[0].startswith("E-1")]
    # derived, limit 6: at most from 09:30 to 10:00 UTC, 30 minutes; 10:30 to 11:00 by the clock of Amsterdam
    assert first[1].startswith("Mon 2 Mar 10:3") and "at most 30" in first[2]
    assert first[3] == "▲ 9.5 °C, limit 6.0 °C" and first[4] == "4 × KIT <A>"
    assert first[5] == "✗ OPEN: nobody has decided; 4 held"
    assert "Follow the label, the instructions for use" in page.said
    cli.ok("fridge", "decide", "E-1", "--discard", "--why", "warm & old", "--answer", "letter <1>", "--by", "KE", "--at", "2026-03-03T10:00", now=NOW)  # fmt: skip
    page, _, code = written(cli, "2026-03", "--fridge", "Cold one", "--as-of", "2026-03-03T12:00")
    (first,) = [r for r in page.rows if r and r[0].startswith("E-1")]
    assert first[5] == "discarded by KE, Tue 3 Mar 10:00: warm & old. Answer: letter <1>"
    assert page.day("Mon 2")[-1].endswith("see E-1, E-2")


def test_an_excursion_that_only_reaches_into_the_month_is_there_and_one_of_another_month_is_not(cli: Line) -> None:
    logger(cli, "2026-02-28T22:00", 20, odd=dict.fromkeys(range(3, 9), 9.0))
    for month, ids in (("2026-02", ["E-1"]), ("2026-03", ["E-1"]), ("2026-04", [])):
        _, answer, _ = written(cli, month, "--fridge", "Cold one")
        assert answer["fridges"][0]["excursions"] == ids, month


def test_as_of_in_mid_month_leaves_the_rest_blank(cli: Line) -> None:
    logger(cli, "2026-03-02T08:00", 400)
    logger(cli, "2026-03-10T08:00", 30, name="m.csv", odd={10: 9.5})
    log(cli, "2026-03-10T14:00", "9", fridge="Cold one")
    page, answer, _ = written(cli, "2026-03", "--fridge", "Cold one", "--as-of", "2026-03-10T09:20")
    assert set(page.day("Wed 11")[1:]) == {""} and set(page.day("Tue 31")[1:]) == {""}
    assert page.day("Tue 10")[-4:-1] == ["4.0", "4.0", "540 min"]
    assert answer["fridges"][0]["checks"] == 0 and "▲ 9" not in page.said
    assert "As of Tue 10 Mar 2026 09:20" in " ".join(page.said.split())
    assert page.day("Sun 29")[1] == "closed"


# --- the file ---


def test_a_page_for_each_fridge_and_one_that_was_never_used(cli: Line) -> None:
    log(cli, "2026-04-13T08:05", "4.1")
    page, answer, code = written(cli, "2026-04")
    assert [f["fridge"] for f in answer["fridges"]] == ["Cold one", "Cold two"]
    assert page.tags.count("section") == 2 and page.tags.count("h1") == 2
    assert answer["fridges"][0] == {"fridge": "Cold one", "checks": 0, "missed": 0, "excursions": []}
    assert code == 0 and "No excursion on record for this month" in page.said
    for words in ("Cold one, April 2026", "Saltgrass Dental", "Limits 2.0 to 8.0 °C", "Looked through by (initials)"):
        assert words in " ".join(page.said.split()), words


def test_names_with_markup_are_text_and_nothing_is_loaded_or_run(line: Callable[..., Line]) -> None:
    name = "<script>alert(1)</script> [/x] {{ 7 * 7 }} & co"
    cli = line(PRACTICE.replace("Saltgrass Dental", name).replace('"Cold two"', "'\"><img src=x onerror=alert(1)>'"))
    page, _, _ = written(cli)
    assert page.said.count(name) == 2
    assert not {"script", "img", "link", "iframe", "object"} & set(page.tags)
    assert page.loads == []
    text = (cli.folder / "sheet.html").read_text(encoding="utf-8")
    assert "://" not in text and "url(" not in text and "@import" not in text


def test_the_head_has_the_probe_its_calibration_and_limits_that_changed(line: Callable[..., Line]) -> None:
    probe = 'capacity = 40\nprobe = { serial = "T<1>", calibration_due = 2026-03-20 }'
    cli = line(PRACTICE.replace("capacity = 40", probe, 1))
    cli.file("new.toml", PRACTICE.replace("capacity = 40", probe, 1).replace("high = 8.0", "high = 7.0", 1))
    cli.ok("practice", "load", "new.toml", "--yes", "--at", "2026-03-12T10:00", now=NOW)
    log(cli, "2026-03-10T08:05", "7.5", 3, 7.5, "Cold one")
    log(cli, "2026-03-13T08:05", "7.5", 3, 7.5, "Cold one")
    page, _, _ = written(cli, "2026-03", "--fridge", "Cold one")
    said = " ".join(page.said.split())
    assert "Limits 2.0 to 8.0 °C; from Thu 12 Mar 2026 2.0 to 7.0 °C" in said
    assert "Probe T<1>" in said and "Calibration due Fri 20 Mar 2026, OVERDUE" in said
    assert page.day("Tue 10")[2] == "7.5" and page.day("Fri 13")[2] == "▲ 7.5", "each day by the limits of its time"
    early, _, _ = written(cli, "2026-03", "--fridge", "Cold one", "--as-of", "2026-03-20T12:00")
    assert "OVERDUE" not in early.said


@pytest.mark.parametrize("month", ["2026-13", "2026-3", "march", "2026-00", "1066-10", "2026-03-01", "", "２０２６-03"])
def test_what_is_no_month_is_refused(cli: Line, month: str) -> None:
    said = cli("fridge", "sheet", "--month", month, "--out", "x.html")
    assert (said.code, said.out) == (3, "") and "type it like 2026-03" in said.err
    assert not (cli.folder / "x.html").exists()


def test_a_month_that_has_not_begun_is_refused(cli: Line) -> None:
    assert cli("fridge", "sheet", "--month", "2026-04", "--out", "x.html", now="2026-03-31T21:59:59+00:00").code == 3
    said = cli("fridge", "sheet", "--month", "2026-04", "--out", "x.html", now="2026-03-31T22:00:00+00:00")
    assert said.code == 0, "in Amsterdam April has begun"
    said = cli("fridge", "sheet", "--month", "2026-04", "--out", "x.html", "--as-of", "2026-03-20", now=NOW)
    assert said.code == 3 and "has not begun" in said.err


def test_where_it_goes_must_be_said_and_be_a_place_to_write(cli: Line) -> None:
    assert cli("fridge", "sheet", "--month", "2026-02").code == 2
    for out in (".", "none/here.html"):
        said = cli("fridge", "sheet", "--month", "2026-02", "--out", out)
        assert (said.code, said.out) == (3, ""), out
    assert cli("fridge", "sheet", "--month", "2026-02", "--fridge", "Cold on", "--out", "x.html").code == 3


def test_the_screen_says_what_waits_and_what_to_type(cli: Line) -> None:
    log(cli, "2026-03-02T08:05", "9.1", 3, 9.1)
    said = cli("fridge", "sheet", "--month", "2026-03", "--fridge", "Cold two", "--out", "x.html", now=NOW)
    assert said.code == 1
    assert "x.html: March 2026, Cold two" in said.out
    assert "21 missed checks that nobody has explained" in said.out
    assert 'stockroom fridge explain 2026-03-31 --fridge "Cold two" --why …' in said.out
    assert "no decision yet about E-1" in said.out


def test_both_databases_write_the_same_sheet(both: Line) -> None:
    log(both, "2026-03-02T08:05", "4.1")
    both.ok("fridge", "explain", "2026-03-03", "--why", "ill", "--fridge", "Cold two", "--by", "KE", now=NOW)
    both.ok("fridge", "off", "Cold two", "--why", "defrosting", "--at", "2026-03-04T07:10", now=NOW)
    page, answer, _ = written(both, "2026-03", "--fridge", "Cold two")
    assert page.day("Tue 3")[1:] == ["missed, explained", "KE explains: ill"]
    assert page.day("Wed 4")[-1] == "OUT OF USE from 07:10: defrosting"
    assert answer["fridges"][0]["missed"] == 0
    assert both.ask("fridge", "chart", "--fridge", "Cold two", now="2026-03-05T08:00:00+00:00")["fridges"][0]["checks"]


def test_a_fridge_that_came_late_or_went_early_has_its_page(cli: Line) -> None:
    log(cli, "2026-03-02T08:05", "4.1")
    log(cli, "2026-03-12T08:05", "4.2")
    new = PRACTICE.replace('name = "Cold two"', 'name = "Cold three"')
    cli.file("new.toml", new)
    cli.ok("practice", "load", "new.toml", "--yes", "--at", "2026-03-12T10:00", now=NOW)
    log(cli, "2026-03-16T08:05", "4.3", 3, 5, "Cold three")
    _, answer, _ = written(cli)
    # derived: the third is expected from its first check on, so that the 17th to the 31st, 11 working days, were missed;
    # of the second the 3rd to the 11th, 7 working days
    assert sorted((f["fridge"], f["checks"], f["missed"]) for f in answer["fridges"]) == [
        ("Cold one", 0, 0), ("Cold three", 1, 11), ("Cold two", 2, 7),
    ]  # fmt: skip
    gone, _, _ = written(cli, "2026-03", "--fridge", "Cold two")
    assert gone.day("Thu 12")[2] == "4.2" and gone.day("Fri 13")[-1] == "not in the practice file"
    came, _, _ = written(cli, "2026-03", "--fridge", "Cold three")
    assert came.day("Thu 12")[-1] == "not in the practice file" and came.day("Fri 13")[-1] == ""
    _, answer, _ = written(cli, "2026-04")
    assert [f["fridge"] for f in answer["fridges"]] == ["Cold one", "Cold three"]


def test_a_fridge_that_is_not_yet_in_use_says_so_instead_of_leaving_days_blank(cli: Line) -> None:
    cli.ok("fridge", "log", "4.0", "--min", "3.5", "--max", "4.5", "--fridge", "Cold two", "--at", "2026-02-25T09:00")
    cli.ok("fridge", "sheet", "--month", "2026-02", "--out", "s.html", "--fridge", "Cold two")
    # derived: 2 to 24 February 2026 has 17 staffed days (Monday to Friday), and the 25th has its check
    assert (cli.folder / "s.html").read_text().count("none expected yet") == 17


def test_yesterday_is_the_day_before_it_happened_not_before_it_was_typed(cli: Line) -> None:
    cli.ok("fridge", "log", "4.0", "--min", "3.5", "--max", "4.5", "--fridge", "Cold two", "--at", "2026-02-23T09:00")
    said = cli.ok("fridge", "explain", "yesterday", "--why", "ill", "--fridge", "Cold two", "--at", "2026-02-25T10:00")
    assert "Tue 24 Feb 2026" in said.out
