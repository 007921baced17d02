"""The files of the made-up season are what their page says, and are made again byte for byte.

Nothing of the generator is imported. Figures in the checks are the season's own (invented); the arithmetic stands
beside them.
"""

import re
import subprocess
import sys
from collections import Counter, defaultdict
from datetime import date, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest
from sample_replay import (
    DUBLIN,
    EXPORTS,
    FRIDGES,
    NOW,
    PRACTICE,
    PROCEDURES,
    SAMPLE,
    SICK_DAY,
    TESTS,
    at_local,
    checks,
    exports,
    instant,
    local,
    played,
    rows,
    season,
    series,
    spans,
    store_rows,
    surgery_rows,
)


def test_made_again_it_is_the_same_to_the_byte(tmp_path):
    for name in ("one", "two"):
        subprocess.run([sys.executable, str(TESTS / "sample_season.py"), str(tmp_path / name)], check=True)
    made = {p.relative_to(tmp_path / "one") for p in (tmp_path / "one").rglob("*") if p.is_file()}
    stored = {p.relative_to(SAMPLE) for p in SAMPLE.rglob("*") if p.is_file()} - {
        Path("practice.toml"),
        Path("visiting.ics"),
    }
    assert made == stored
    for name in made:
        assert (tmp_path / "one" / name).read_bytes() == (SAMPLE / name).read_bytes(), name
        assert (tmp_path / "two" / name).read_bytes() == (SAMPLE / name).read_bytes(), name


def test_every_file_is_small():
    assert all(p.stat().st_size < 150_000 for p in SAMPLE.rglob("*"))


def test_today_is_a_tuesday_and_the_ninetieth_day():
    assert NOW.strftime("%A") == "Tuesday"
    assert (NOW.date() - date(2026, 1, 15)).days + 1 == 90  # 17 in January, 28, 31, 14 in April


# --- the loggers ---


@pytest.mark.parametrize("fridge", FRIDGES)
def test_a_logger_writes_every_ten_minutes_up_to_this_morning(fridge):
    at = [t for t, _ in series(fridge)]
    assert at == sorted(set(at))
    assert at[0] <= at_local("2026-01-15T00:10")
    assert at[-1] == at_local("2026-04-14T08:30")
    steps = Counter(b - a for a, b in pairwise(at))
    # Single lost rows leave 20 minutes; the battery leaves 30.5 h = 109,800 s; the clock change leaves nothing.
    assert set(steps) == ({600, 1200, 109_800} if fridge == "Surgery fridge" else {600, 1200})
    # 90 days less 15.5 h of today and the hour that the clock skipped: 2143.5 h = 12,861 steps; the battery took 182.
    missing = 12_862 - len(at)
    assert steps[1200] + (182 if fridge == "Surgery fridge" else 0) in (missing, missing - 1)  # the first may be lost


def test_the_store_logger_skips_the_hour_that_the_clock_skips():
    text = (SAMPLE / "logger/store_2026-03.csv").read_text(encoding="utf-8-sig")
    assert "29.03.2026 00:50:00" in text
    assert "29.03.2026 02:00:00" in text
    assert "29.03.2026 01:" not in text


def test_the_store_logger_wrote_six_lines_that_are_no_reading():
    junk = [line for p in sorted((SAMPLE / "logger").glob("store_2026-*.csv")) for line in store_rows(p)[1]]
    assert len(junk) == 6


def test_a_read_out_holds_the_same_rows_as_the_months():
    surgery = surgery_rows(SAMPLE / "logger/surgery_readout_2026-03-02.csv")
    store, _ = store_rows(SAMPLE / "logger/store_readout_2026-02-06.csv")
    assert len(surgery) > 200
    assert len(store) > 700
    assert set(surgery) <= set(series("Surgery fridge"))
    assert set(store) <= set(series("Store fridge"))


def test_only_the_days_with_a_fault_leave_the_range():
    worst = {}
    for fridge in FRIDGES:
        for at, tenths in series(fridge):
            if not 20 <= tenths <= 65:
                key = fridge, str(local(at).date())
                worst[key] = max(worst.get(key, tenths), tenths, key=lambda t: abs(t - 42))
    assert set(worst) == {
        ("Store fridge", "2026-02-06"),
        ("Surgery fridge", "2026-03-02"),
        ("Store fridge", "2026-04-11"),
    }
    assert -14 <= worst["Store fridge", "2026-02-06"] <= -10
    assert 105 <= worst["Surgery fridge", "2026-03-02"] <= 115
    assert 88 <= worst["Store fridge", "2026-04-11"] <= 95
    below = [t for t, c in series("Store fridge") if c < 0]
    assert 1800 <= below[-1] - below[0] + 600 <= 3000  # about 40 minutes below zero


# --- checks by hand ---


@pytest.mark.parametrize("fridge", FRIDGES)
def test_a_display_shows_what_the_logger_saw_since_the_check_before(fridge):
    before, seen = at_local("2026-01-15T00:00"), series(fridge)
    for at, now, low, high in checks()[fridge]:
        since = [c for t, c in seen if before <= t <= at]
        assert low <= now <= high
        # The display is a tenth off the logger, and sees the minutes between two rows as well.
        assert low - 1 <= min(since) and max(since) <= high + 1, local(at)
        if not (fridge == "Surgery fridge" and at == at_local("2026-03-16T08:50")):  # the battery: nothing to compare
            assert min(since) - low <= 7 and high - max(since) <= 12, local(at)
        before = at


def test_each_staffed_day_has_its_checks_but_for_three():
    there = Counter()
    for fridge, found in checks().items():
        for at, *_ in found:
            day = local(at).date()
            first, last = spans(day)[0][0], spans(day)[-1][1]
            assert first <= at <= last, local(at)
            there[fridge, str(day), "opening" if 2 * at < first + last else "closing"] += 1
    wanted = set()
    for n in range(89):  # today's are not made yet
        day = date(2026, 1, 15) + timedelta(days=n)
        if spans(day) and day != SICK_DAY:
            wanted |= {("Surgery fridge", str(day), "opening")}
            wanted |= {("Store fridge", str(day), which) for which in ("opening", "closing")}
    assert there.pop(("Surgery fridge", "2026-03-02", "opening")) == 2  # still warm at the first
    assert set(there.values()) == {1}
    there["Surgery fridge", "2026-03-02", "opening"] = 1
    assert set(there) <= wanted
    assert wanted - set(there) == {
        ("Surgery fridge", "2026-01-29", "opening"),
        ("Store fridge", "2026-02-17", "closing"),
        ("Store fridge", "2026-04-09", "closing"),
    }


def test_a_check_covers_the_time_of_the_empty_battery():
    found = checks()["Surgery fridge"]
    (n,) = (i for i, c in enumerate(found) if c[0] == at_local("2026-03-16T08:50"))
    assert found[n - 1][0] < at_local("2026-03-15T02:10")
    assert at_local("2026-03-16T08:40") <= found[n][0]
    assert found[n][2] >= 20 and found[n][3] <= 65


# --- bookings ---


def test_the_exports_hold_sixty_past_and_twenty_coming_bookings():
    latest, states, starts = {}, defaultdict(list), defaultdict(list)
    for day in EXPORTS:
        for row in exports()[day]:
            latest[row["id"]] = row
            states[row["id"]].append(row["state"])
            starts[row["id"]].append(row["start"])
    # One is moved and two are cancelled by command between exports, all past: the exports alone tell.
    past = [i for i, r in latest.items() if instant(r["start"]) <= NOW.timestamp()]
    coming = [i for i, r in latest.items() if instant(r["start"]) > NOW.timestamp() and r["state"] == "booked"]
    assert (len(past), len(coming)) == (60, 20)
    assert sum(len(set(s)) > 1 for s in starts.values()) >= 5
    assert sum(s[-1] == "cancelled" for s in states.values()) == 4


def test_an_export_is_plain():
    seen = {}
    for day, export in exports().items():
        ids = [r["id"] for r in export]
        assert len(ids) == len(set(ids))
        for r in export:
            assert re.fullmatch(r"K\d{4}", r["id"])
            assert r["procedure"] in PROCEDURES
            assert r["state"] in ("booked", "cancelled")
            assert datetime.fromisoformat(r["start"]).astimezone(DUBLIN).date() >= date.fromisoformat(day)
            assert instant(r["made"]) <= at_local(f"{day}T18:00")
            same = {k: r[k] for k in ("procedure", "patient", "cycles", "made")}
            assert seen.setdefault(r["id"], same) == same
    assert list(exports()["2026-01-14"][0]) == ["id", "procedure", "start", "patient", "cycles", "state", "made"]


def test_patients_are_codes_and_people_are_initials():
    known = {p["initials"] for p in PRACTICE["person"]}
    assert len(known) == 4
    assert {r["by"] for name in ("season.csv", "hand_checks.csv") for r in rows(name)} <= known
    patients = [r["patient"] for export in exports().values() for r in export]
    patients += [words[words.index("--patient") + 1] for _, _, words in season() if words[:2] == ["booking", "add"]]
    assert all(re.fullmatch(PRACTICE["practice"]["patient_code"], p) for p in patients)
    assert all(re.fullmatch(r"P-[0-9]+", p) for p in patients)


# --- the page ---


def test_the_page_gives_the_counts_that_the_files_have():
    page = (SAMPLE / "README.md").read_text(encoding="utf-8")
    assert f"{len(season())} commands" in page
    assert f"{len(rows('hand_checks.csv'))} checks by hand" in page
    assert f"{len(series('Surgery fridge'))} readings in the months' files" in page
    assert f"{len(series('Store fridge'))} readings and 6 lines" in page
    assert f"Kits taken out: {played().pulls}; still out today: {len(played().out)}." in page
    assert "82; 60 past, 20 coming" in page
    typed = sum(words[:2] == ["booking", "add"] for _, _, words in season())
    assert f"Typed in by hand between exports: {typed}." in page
    for fridge, tenths in (("Surgery fridge", max), ("Store fridge", max), ("Store fridge", min)):
        assert f"the worst {tenths(c for _, c in series(fridge)) / 10} °C" in page
