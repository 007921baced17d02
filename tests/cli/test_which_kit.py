"""Which kit for which booking, through the command line: the cases in which a simpler rule serves fewer.

Derived: minutes of the day as in the smallest counterexamples of the matching rule. Kits with different times are made
by earlier outings: warm after 1 h, at most 8 h out in all.
"""

from collections.abc import Callable

from conftest import PRACTICE, Line

SHORT = (
    PRACTICE.replace("warmup_hours = 24", "warmup_hours = 1")
    .replace("max_out_hours = 72", "max_out_hours = 8\nreturnable = true")
    .replace("minutes = 45\nminutes_per_cycle = 10\ncycles = 6\nmax_cycles = 8", "minutes = 30")
    .replace(
        '{ product = "KIT", each = 1 }, { product = "SWAB", per_cycles = 2, spare = 1 }',
        '{ product = "KIT", each = 1 }',
    )
    .replace('tue = ["08:00-18:00"]', 'tue = ["06:00-18:00"]')
)


def out(line: Line, lot: str, pulled: str, hours_before: str | None) -> None:
    """A kit out since ``pulled`` on Tuesday; it had been out on Monday from 08:00 until ``hours_before``."""
    line.ok(
        "stock",
        "receive",
        "KIT",
        "--lot",
        lot,
        "--expiry",
        "2026-12-31",
        "--quantity",
        1,
        "--into",
        "Cold one",
        "--at",
        "2026-03-01T08:00",
    )
    if hours_before is not None:
        said = line.ask("warmup", "pull", "--product", "KIT", "--lot", lot, "--at", "2026-03-02T08:00")
        line.ok("warmup", "back", said["pulls"][0]["pull"], "--at", f"2026-03-02T{hours_before}")
    line.ok("warmup", "pull", "--product", "KIT", "--lot", lot, "--at", f"2026-03-03T{pulled}")


def served(line: Line, starts: list[str]) -> dict[str, str | None]:
    for n, start in enumerate(starts):
        line.ok(
            "booking",
            "add",
            "white",
            "--start",
            f"2026-03-03T{start}",
            "--patient",
            f"P-{n + 1}",
            "--at",
            "2026-03-01T08:00",
        )
    rows = line.ask("warmup", "check", "--as-of", "2026-03-03T07:50")["bookings"]
    return {r["start"][11:16]: r["lot"] if r["pull"] else None for r in rows}


def test_first_ready_first_used_would_serve_one_of_two(line: Callable[..., Line]) -> None:
    cli = line(SHORT)
    cli.now = "2026-03-03T07:00:00+00:00"  # 08:00 in Amsterdam
    out(cli, "LONG", "07:00", None)  # good from 08:00 to 15:00
    out(cli, "BRIEF", "07:45", "13:00")  # 5 of 8 hours gone: good from 08:45 to 10:45
    assert served(cli, ["10:00", "14:00"]) == {"09:00": "BRIEF", "13:00": "LONG"}


def test_three_kits_and_three_bookings(line: Callable[..., Line]) -> None:
    cli = line(SHORT)
    cli.now = "2026-03-03T07:00:00+00:00"
    out(cli, "LONG", "07:00", None)  # 08:00 to 15:00
    out(cli, "BRIEF", "07:30", "14:00")  # 6 hours gone: 08:30 to 09:30
    out(cli, "NOON", "07:45", "11:45")  # 3:45 gone: 08:45 to 12:00
    assert served(cli, ["09:00", "11:30", "14:00"]) == {"08:00": "BRIEF", "10:30": "NOON", "13:00": "LONG"}
