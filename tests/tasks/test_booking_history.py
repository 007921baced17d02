"""What was on the books when, from real databases: made, moved, cancelled, done, missed, taken back, imported late."""

from collections.abc import Callable
from datetime import datetime, timedelta

import pytest
from conftest import PRACTICE, Line

from stockroom.store import ledger
from stockroom.store.engine import opened
from stockroom.store.writing import writing
from stockroom.tasks.booking_history import booking_history
from stockroom.tasks.diary import diary
from stockroom.tasks.expected_demand import expected_demand
from stockroom.tasks.order_basis import sites_now
from stockroom.tasks.outside_use import outside_use
from stockroom.tasks.rules import rules, spans

FAR = 1 << 40


def at(text: str) -> int:
    return int(datetime.fromisoformat(text + "+00:00").timestamp())


def history(cli: Line, until: int = FAR):
    with opened(cli.where).reading() as conn:
        return booking_history(conn, rules(conn, until).practice, spans(conn), until)


def books(cli: Line, until: int = FAR):
    return history(cli, until).of("", "white")


def stretches(cli: Line, until: int = FAR) -> list[tuple[int, int | None, int]]:
    found = books(cli, until)
    ends = [None if end > FAR else end for end in found.until.tolist()]
    return sorted(zip(found.since.tolist(), ends, found.start.tolist(), strict=True), key=str)


def added(cli: Line, start: str, made: str) -> str:
    said = cli.ask("booking", "add", "white", "--start", start, "--patient", f"P-{start[5:13]}", "--at", made)
    return str(said["booking"])


def test_made_moved_cancelled(both: Line) -> None:
    number = added(both, "2026-02-20T10:00", "2026-02-02T10:00")
    both.ok("booking", "move", number, "--start", "2026-02-25T10:00", "--at", "2026-02-10T10:00")
    both.ok("booking", "cancel", number, "--why", "asked", "--at", "2026-02-24T10:00")
    first, second = at("2026-02-20T09:00"), at("2026-02-25T09:00")
    made, moved, gone = at("2026-02-02T09:00"), at("2026-02-10T09:00"), at("2026-02-24T09:00")
    assert stretches(both) == [(made, moved, first), (moved, gone, second)]
    # as of an earlier moment nothing of what came later is known
    assert stretches(both, moved - 1) == [(made, None, first)]
    assert stretches(both, gone - 1) == [(made, moved, first), (moved, None, second)]
    found = books(both)
    assert [found.between(first, first + 1, t) for t in (made - 1, made, moved - 1, moved)] == [0, 1, 1, 0]
    assert (found.first_made, history(both).of("", "other").first_made) == (made, None)


def test_what_was_done_stays_and_what_was_missed_goes(cli: Line) -> None:
    numbers = [added(cli, f"2026-02-{d}T10:00", f"2026-02-0{n}T10:00") for n, d in enumerate((16, 17, 18, 19), 1)]
    cli.ok("booking", "done", numbers[0], "--cycles", 8)
    cli.ok("booking", "missed", numbers[1])
    cli.ok("booking", "missed", numbers[2], "--kit", "opened")
    cli.ok("booking", "done", numbers[3])
    cli.ok("undo", "--why", "not yet")
    starts = [at(f"2026-02-{d}T09:00") for d in (16, 17, 18, 19)]
    assert [(until, start) for _, until, start in stretches(cli)] == [
        (None, starts[0]), (starts[1], starts[1]), (None, starts[2]), (None, starts[3]),
    ]  # fmt: skip
    assert [(d.number, d.cycles) for d in history(cli).done] == [(1, 8)]


def test_a_booking_is_on_the_books_from_when_it_was_made(cli: Line) -> None:
    cli.file(
        "b.csv",
        "id,procedure,start,patient,cycles,state,made\nK1,white,2026-02-20T10:00,P-1,,booked,2026-01-08T12:00\n",
    )
    cli.ok("booking", "import", "b.csv")
    assert stretches(cli) == [(at("2026-01-08T11:00"), None, at("2026-02-20T09:00"))]
    # told of on 2 March, and known as of January
    assert stretches(cli, at("2026-01-09T00:00")) == stretches(cli)
    assert books(cli).kept_since is None


def test_since_when_the_record_says_when_bookings_were_made(cli: Line) -> None:
    head = "id,procedure,start,patient,cycles,state,made\n"
    rows = [f"K{n},white,2026-03-{n + 10}T10:00,P-{n},,booked," for n in range(6)]
    cli.file("b.csv", head + "\n".join(rows))
    cli.ok("booking", "import", "b.csv")
    assert books(cli).kept_since == at("2026-03-02T09:00")
    # most of what is taken over says it
    cli.ok("undo", "--why", "with made")
    cli.file("b.csv", head + "\n".join(r + ("2026-01-20T10:00" if n > 1 else "") for n, r in enumerate(rows)))
    cli.ok("booking", "import", "b.csv")
    assert books(cli).kept_since is None


def test_how_far_cycles_went_beyond_the_plan_of_their_time(line: Callable[..., Line]) -> None:
    # derived: four with the usual six, two of them took eight; then the usual number is eight: four as planned
    cli = line()
    numbers = [added(cli, f"2026-02-{d}T10:00", "2026-02-01T10:00") for d in range(10, 18)]
    for n, number in enumerate(numbers[:4]):
        cli.ok("booking", "done", number, "--cycles", 6 if n % 2 else 8)
    cli.file("practice.toml", PRACTICE.replace("cycles = 6", "cycles = 8"))
    cli.ok("practice", "load", "practice.toml", "--yes", "--at", "2026-02-14T00:00")
    assert history(cli).cycles("white") == ((0, 1.0),)  # four records say nothing
    for number in numbers[4:]:
        cli.ok("booking", "done", number)
    assert history(cli).cycles("white") == ((0, 0.75), (2, 0.25))
    assert history(cli, at("2026-02-14T00:00")).cycles("white") == ((0, 1.0),)
    assert history(cli).cycles("other") == ((0, 1.0),)


def test_the_books_are_the_diary_of_then(cli: Line) -> None:
    # a law: at any moment what the history has on the books is what the diary had, for any span
    begun = datetime.fromisoformat("2026-02-01T08:00")
    for n in range(24):
        made = begun + timedelta(hours=27 * n)
        start = made + timedelta(days=1 + n % 11, hours=n % 5)
        number = added(cli, start.isoformat()[:16], made.isoformat()[:16])
        if n % 3 == 0:
            there = (start + timedelta(days=n % 4)).isoformat()[:16]
            cli.ok("booking", "move", number, "--start", there, "--at", (made + timedelta(hours=20)).isoformat()[:16])
        if n % 4 == 0:
            cli.ok("booking", "cancel", number, "--why", "x", "--at", (made + timedelta(hours=23)).isoformat()[:16])
        elif n % 3 and n < 12:
            cli.ok("booking", "done", number)
    found = books(cli)
    with opened(cli.where).reading() as conn:
        for hours in range(0, 24 * 40, 7):
            moment = at("2026-02-01T00:00") + 3600 * hours
            then = [b for b in diary(conn, rules(conn, moment), moment).values() if b.state in ("booked", "done")]
            for days in (2, 9, 60):
                a, b = moment - 86_400 * days // 3, moment + 86_400 * days
                assert found.between(a, b, moment) == sum(a <= x.start < b for x in then)


def test_expected_demand_of_no_site(cli: Line) -> None:
    with opened(cli.where).reading() as conn:
        assert expected_demand(conn, FAR, []) == []
        (here,) = sites_now(conn, rules(conn, FAR), at("2026-03-02T09:00"), [""])
        (expected,) = expected_demand(conn, here.at, [here])
        kit = here.products["KIT"]
        # nothing until now, and nothing before it
        for end in (here.at, here.at - 5):
            still = expected.still(kit, end)
            assert (still.mean, still.pmf.tolist()) == (0, [1])
        # derived: two a week in the long run
        assert expected.per_day(kit, here.at + 86_400) == pytest.approx(2 / 7)


def test_a_kit_that_was_out_and_used_without_a_booking_is_the_use_of_the_site_it_was_taken_from(
    line: Callable[..., Line], where: str
) -> None:
    hours = next(x for x in PRACTICE.splitlines() if x.startswith("hours"))
    sites = "".join(f'[[site]]\nname = "{name}"\n{hours}\n' for name in ("North", "South"))
    text = PRACTICE.replace(hours, "").replace("[[fridge]]\n", sites + "[[fridge]]\n", 1)
    for name, site in (("Cold one", "North"), ("Cold two", "South"), ("Cupboard", "North")):
        text = text.replace(f'name = "{name}"\n', f'name = "{name}"\nsite = "{site}"\n')
    cli = line(text, where=where)
    came, out, gone = at("2026-02-02T08:00"), at("2026-02-03T08:00"), at("2026-02-04T08:00")
    store = opened(cli.where)
    with writing(store, "seed", by="AB", at=came, now=gone, site="South") as book:
        lot = ledger.lot_key(book, "KIT", "A1")
        supplier, used = ledger.placed(book, "supplier", "outside"), ledger.placed(book, "used", "outside")
        fridge = ledger.placed(book, "Cold two", "fridge")
        ledger.moved(book, lot, 2, supplier, fridge, "receive")
    with writing(store, "seed", by="AB", at=out, now=gone, site="South") as book:
        _, place = ledger.pulled(book, lot, fridge)
        ledger.moved(book, lot, 1, fridge, place, "pull")
    with writing(store, "seed", by="AB", at=gone, now=gone, site="South") as book:
        ledger.moved(book, lot, 1, place, used, "use")
    with store.reading() as conn:
        practice, ruled = rules(conn, gone).practice, spans(conn)
        found = outside_use(conn, practice, ruled, gone, booking_history(conn, practice, ruled, gone))
        before = outside_use(conn, practice, ruled, gone - 1, booking_history(conn, practice, ruled, gone - 1))
    assert (found.since, found.used) == ({("South", "KIT"): came}, {("South", "KIT"): [(gone, 1)]})
    assert (before.since, before.used) == ({("South", "KIT"): came}, {})
