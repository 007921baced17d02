"""`reorder rehearse` and `practice target` through the command line. Expectations are derived, beside each check."""

import pytest
from conftest import PRACTICE, Line

from stockroom.core.bands import Band

SHORT_LIFE = (
    PRACTICE.replace("shelf_life_days = 300", "shelf_life_days = 16")
    .replace("pack_size = 4", "pack_size = 1")
    .replace("expected_per_week = 2", "expected_per_week = 5")
)
_SITES = PRACTICE.replace('hours = { mon', '[[site]]\nname = "Quay"\nhours = { mon', 1).replace(
    '[[fridge]]\nname = "Cold one"', '[[site]]\nname = "Hill"\nhours = { mon = ["08:00-12:00"] }\n\n[[fridge]]\nsite = "Quay"\nname = "Cold one"'
).replace('[[fridge]]\nname = "Cold two"', '[[fridge]]\nsite = "Hill"\nname = "Cold two"')  # fmt: skip
GROUP = _SITES.replace("[[shelf]]", '[[shelf]]\nsite = "Quay"')
FIGURES = (
    "shortage_chance short_pieces fill_rate waste_pieces waste_cost ordered_pieces stock_pieces stock_value fridge_peak"
)


def rehearsed(line: Line, product: str = "KIT", *more: object):
    (site,) = (answer := line.ask("reorder", "rehearse", product, "--runs", 400, *more))["sites"]
    return answer, site


def rising(site: dict, name: str) -> list[float]:
    return [t[name]["mean"] for t in site["targets"]]


def test_the_answer_in_full(cli: Line) -> None:
    cli.ok(
        "stock",
        "receive",
        "KIT",
        "--lot",
        "A1",
        "--expiry",
        "2026-12-31",
        "--quantity",
        3,
        "--into",
        "Cold one",
        "--at",
        "2026-03-02T08:30",
    )
    said = cli("reorder", "rehearse", "KIT", "--json")
    assert said.code == 0
    answer = said.json
    assert (answer["weeks"], answer["runs"], answer["seed"], answer["target_kind"]) == (52, 2000, 1, "cycle")
    (site,) = answer["sites"]
    # room: two fridges of 40, 3 stand there: 77 are free, and the 3 besides
    assert (site["stock"], site["on_order"], site["held"], site["room"], site["target"]) == (3, 0, 0, 80, 0.95)
    assert site["demand"]["source"] == "practice file" and site["demand"]["weeks"] is None
    # 2 a week over 52 weeks and the span after them, today left out
    assert site["demand"]["per_week"] == pytest.approx(2, abs=0.05)
    # one review a week
    assert site["orders"] == 52
    assert [t["target"] for t in site["targets"]] == [0.8, 0.9, 0.95, 0.98, 0.99]
    for row in site["targets"]:
        for name in FIGURES.split():
            band = row[name]
            assert set(band) == {"mean", "low", "high", "run_low", "run_high"}
            assert band["low"] <= band["mean"] <= band["high"], name
        # 100 for four
        assert row["stock_value"]["mean"] == pytest.approx(25 * row["stock_pieces"]["mean"], abs=0.01)
        assert row["waste_cost"]["mean"] == pytest.approx(25 * row["waste_pieces"]["mean"], abs=0.01)
        assert row["fridge_peak"]["mean"] <= 80
        # an order is short before the next with no more than this chance, and between two deliveries no more often
        assert row["shortage_chance"]["low"] <= 1 - row["target"]
        # what is ordered is what is used or wasted, and what more is there at the end
        used = row["fill_rate"]["mean"] * 104.3
        assert row["ordered_pieces"]["mean"] == pytest.approx(used + row["waste_pieces"]["mean"], abs=8)
    kept = [t["unbooked_quantile"] for t in site["targets"]]
    assert kept == sorted(kept)
    assert rising(site, "stock_pieces") == sorted(rising(site, "stock_pieces"))
    assert rising(site, "shortage_chance") == sorted(rising(site, "shortage_chance"), reverse=True)


def test_the_same_seed_is_the_same_answer_and_another_is_within_its_bands(cli: Line) -> None:
    first, second = (cli("reorder", "rehearse", "KIT", "--json").out for _ in range(2))
    assert first == second
    other = cli.ask("reorder", "rehearse", "KIT", "--seed", 2)
    assert other["sites"] != cli.ask("reorder", "rehearse", "KIT")["sites"]
    ours = cli.ask("reorder", "rehearse", "KIT")["sites"][0]["targets"][2]["stock_pieces"]
    theirs = other["sites"][0]["targets"][2]["stock_pieces"]
    assert abs(ours["mean"] - theirs["mean"]) < 2.9 * (ours["high"] - ours["low"]) / 2


def use(line: Line, weeks: int, pieces: int = 6) -> None:
    line.ok(
        "stock",
        "receive",
        "SWAB",
        "--lot",
        "S1",
        "--expiry",
        "2027-12-31",
        "--quantity",
        500,
        "--into",
        "Cupboard",
        "--at",
        "2025-12-01T09:00",
        now="2026-03-02T09:00:00+00:00",
    )
    for week in range(weeks):
        from datetime import date, timedelta

        day = date(2026, 2, 24) - timedelta(days=7 * week)
        line.ok("stock", "use", "SWAB", pieces + week % 2, "--why", "training", "--at", f"{day}T10:00")


def test_with_eight_weeks_of_use_the_past_is_drawn(line) -> None:
    made = line(at="2025-11-03T08:00:00+00:00")
    use(made, 10)
    _, site = rehearsed(made, "SWAB")
    # the first whole week after the delivery of Monday 1 December began on it; the last before Monday 2 March
    assert site["demand"] == {
        "source": "past weeks",
        "weeks": 13,
        "block_weeks": 2,
        "per_week": pytest.approx(65 / 13, abs=0.2),
    }
    # at 25 January, a Sunday, seven whole weeks have passed; a kit holds the swabs that the procedure takes, so the file
    # expects none from the cupboard
    assert made("reorder", "rehearse", "SWAB", "--as-of", "2026-01-25").code == 3
    assert rehearsed(made, "SWAB", "--as-of", "2026-01-26")[1]["demand"]["weeks"] == 8


def test_weeks_in_which_nobody_was_there_are_left_out(line) -> None:
    closed = PRACTICE.replace(
        "margin_minutes = 0", 'margin_minutes = 0\nclosed = [{ from = 2025-12-22, to = 2026-01-02, why = "winter" }]'
    )
    made = line(closed, at="2025-11-03T08:00:00+00:00")
    use(made, 8)
    assert rehearsed(made, "SWAB")[1]["demand"]["weeks"] == 11


def test_what_never_expires_has_no_correction(line) -> None:
    made = line(at="2025-11-03T08:00:00+00:00")
    use(made, 10)
    _, site = rehearsed(made, "SWAB")
    assert site["correction"] == "idle"
    assert all(t["waste_pieces"]["mean"] == 0 and t["fridge_peak"] is None for t in site["targets"])


def test_the_correction_is_told_of_where_it_pays(line) -> None:
    made = line(SHORT_LIFE)
    _, site = rehearsed(made, "KIT", "--runs", 2000)
    assert site["correction"] == "pays"
    told = [t for t in site["targets"] if t["waste_saved"] is not None]
    assert told and all(t["waste_saved"]["low"] > 0 for t in told)
    assert all(t["uncorrected"]["fill_rate"]["mean"] < t["fill_rate"]["mean"] for t in site["targets"])
    screen = " ".join(made.ok("reorder", "rehearse", "KIT").out.split())
    assert "It pays here" in screen and "saved a year" in screen
    # with a long life it changes nothing: what is ordered lasts longer than it stands there
    assert "changes nothing" in line(name="b.db").ok("reorder", "rehearse", "KIT").out


def test_a_fill_target_and_a_target_of_its_own(line) -> None:
    made = line(
        PRACTICE.replace("margin_minutes = 0", 'margin_minutes = 0\ntarget_kind = "fill"\nservice_target = 0.97')
    )
    answer, site = rehearsed(made)
    assert answer["target_kind"] == "fill" and site["target"] == 0.97
    assert [t["target"] for t in site["targets"]] == [0.8, 0.9, 0.95, 0.97, 0.98, 0.99]
    assert "now 97 %" in made.ok("reorder", "rehearse", "KIT", "--runs", 200).out


def test_the_screen(cli: Line) -> None:
    said = cli.ok("reorder", "rehearse", "KIT", "--runs", 300, "--seed", 7)
    assert said.err == ""
    assert "seed 7" in said.out and "now 95 %" in said.out and "±" in said.out
    assert "-> another target than 0.95: stockroom practice target KIT 0.… --why …" in said.out
    assert all(len(row) <= 100 for row in said.out.splitlines())


def test_what_is_rare_never_reads_as_impossible() -> None:
    from stockroom.cli.rehearse_show import _about, _served

    assert _about(Band(0, 0, 0, 0, 0), 1) == "0"
    assert _about(Band(0, 0, 0.0015, 0, 0), 1) == "<0.1"
    assert _about(Band(0.01, 0, 0.23, 0, 0), 1) == "<0.3"
    assert _about(Band(1.26, 1.2, 1.3, 0, 0), 1) == "1.3±0.1"
    assert _about(Band(1.26, 1.25, 1.27, 0, 0), 1) == "1.3"
    assert _served(Band(0.99999, 0, 0, 0, 0)) == "99.99 %"


def test_orders_rarer_than_the_time_that_is_played(line) -> None:
    made = line(PRACTICE.replace("margin_minutes = 0", "margin_minutes = 0\nreview_days = 366"))
    _, site = rehearsed(made, "KIT", "--weeks", 4)
    assert site["orders"] == 1 and all(t["shortage_chance"] is None for t in site["targets"])
    assert "80 %          -" in made.ok("reorder", "rehearse", "KIT", "--weeks", 4, "--runs", 100).out


def test_each_site_of_a_group_for_itself(line) -> None:
    made = line(GROUP)
    answer = made.ask("reorder", "rehearse", "KIT", "--runs", 200)
    assert [s["site"] for s in answer["sites"]] == ["Quay", "Hill"]
    assert [s["room"] for s in answer["sites"]] == [40, 40]
    (one,) = made.ask("--site", "Hill", "reorder", "rehearse", "KIT", "--runs", 200)["sites"]
    assert one == answer["sites"][1]


@pytest.mark.parametrize(
    ("words", "slug"),
    [
        (("KITT",), 'did you mean "KIT"?'),
        (("KIT", "--weeks", 3), "3 weeks cannot be played"),
        (("KIT", "--weeks", 261), "261 weeks"),
        (("KIT", "--runs", 99), "99 runs"),
        (("KIT", "--runs", 100_001), "100001 runs"),
        (("SWAB",), "no demand for SWAB to play"),
    ],
)  # fmt: skip
def test_what_cannot_be_played_is_refused(cli: Line, words: tuple, slug: str) -> None:
    said = cli("reorder", "rehearse", *words)
    assert (said.code, said.out) == (3, "")
    assert slug in said.err


def test_a_long_rehearsal_can_be_stopped(cli: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    from stockroom.cli.job import Job

    def stop(job: Job, what: str, done: int, of: int) -> None:
        assert (what, done, of) == ("rehearsing KIT", 500, 2000)
        raise KeyboardInterrupt

    monkeypatch.setattr(Job, "advance", stop)
    said = cli("reorder", "rehearse", "KIT")
    assert (said.code, said.out) == (130, "")


# --- and the target that comes of it ---


def test_a_target_is_set_in_the_practice_file_from_then_on(both: Line) -> None:
    said = both("practice", "target", "kit", "0.980", "--why", "rehearsed", "--at", "2026-03-02T09:00", "--json")
    assert said.code == 0
    assert said.json["changes"] == ["product KIT: service target none -> 0.98"]
    assert said.json["what"].endswith(": rehearsed")
    assert both.ask("practice", "show")["text"] == PRACTICE.replace(
        'code = "KIT"\n', 'code = "KIT"\nservice_target = 0.98\n'
    )
    assert both.ask("practice", "show", "--as-of", "2026-03-01")["text"] == PRACTICE
    (site,) = both.ask("reorder", "rehearse", "KIT", "--runs", 100)["sites"]
    assert site["target"] == 0.98
    again = both("practice", "target", "KIT", ".98", "--why", "rehearsed")
    assert again.code == 3 and "already" in again.err
    both.ok("undo", "--why", "a slip")
    assert both.ask("practice", "show")["text"] == PRACTICE


@pytest.mark.parametrize("target", ["98", "0", "1", "-0.5", "nan", "much", "1e-400", "0.9999999999999"])
def test_a_target_that_is_no_chance(cli: Line, target: str) -> None:
    said = cli("practice", "target", "KIT", target, "--why", "x")
    assert said.code == 3 and "give a part of 1" in said.err
    assert len(cli.ask("records", "history")["entries"]) == 1
