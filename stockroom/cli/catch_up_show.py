"""stockroom booking done in the evening: what is not recorded yet, and several bookings in one line."""

from typing import TYPE_CHECKING, Any

from stockroom.cli.job import Answer, Job
from stockroom.core.when import instant, local_text

if TYPE_CHECKING:
    from stockroom.cli.show import Screen
    from stockroom.tasks.catch_up import Proposal


def _moment(job: Job) -> int:
    """Now, or the time that was given with --at."""
    return job.now if job.at_text is None else instant(job.at_text, job.zone(), job.now)


def still_to_record(job: Job, screen: "Screen") -> None:
    """What is still open."""
    from stockroom.tasks.catch_up import unrecorded
    from stockroom.tasks.rules import rules

    at = _moment(job)
    with job.store().reading() as conn:
        left = unrecorded(conn, rules(conn, at), at, job.site)
    if left:
        screen.note(f"still to be recorded: {', '.join(f'B-{b.number}' for b in left)}")


def done_several(job: Job, texts: list[str]) -> Answer:
    """Records several bookings as they were booked: an entry each, and none where one of them cannot be."""
    from stockroom.pages.values import recorded_answer
    from stockroom.tasks.finish import Outcome, done, ready_to_record

    act = job.act()
    results = [done(job.store(), act, text, Outcome()) for text in ready_to_record(job.store(), act, texts)]

    def draw(screen: "Screen") -> None:
        for result in results:
            screen.recorded(result)
        still_to_record(job, screen)

    return Answer({"recorded": [recorded_answer(r) for r in results]}, any(r.attention for r in results), draw, True)


def open_bookings(job: Job) -> Answer:
    """What is over and has not been recorded, each with the line to type."""
    from stockroom.pages import values
    from stockroom.tasks.catch_up import catch_up
    from stockroom.tasks.rules import rules

    at = _moment(job)
    with job.store().reading() as conn:
        found = catch_up(conn, rules(conn, at), at, job.site)
    data = {"as_of": values.instant(at), "bookings": [_answer(p) for p in found]}
    return Answer(data, bool(found), lambda screen: _draw(screen, found, job, at))


def _answer(p: "Proposal") -> dict[str, Any]:
    from stockroom.pages.answers import booking_answer

    return {
        **booking_answer(p.booking),
        "proposed": {
            "command": p.command,
            "otherwise": p.otherwise,
            "kits": [{"pull": f"P-{n}", "product": code, "lot": lot} for n, code, lot in p.kits],
            "supplies": [{"product": code, "lot": lot, "quantity": n} for code, lot, n in p.supplies],
            "breaches": list(p.breaches),
        },
    }


def _draw(screen: "Screen", found: "tuple[Proposal, ...]", job: Job, at: int) -> None:
    if not found:
        screen.line("Every booking that is over has been recorded.")
        return
    usual = [f"B-{p.booking.number}" for p in found if not p.breaches]
    for p in found:
        b = p.booking
        screen.heading(f"B-{b.number}  {local_text(b.start, job.zone(), at)}  {b.procedure}  {b.patient}")
        used = [f"P-{n} ({code} lot {lot})" for n, code, lot in p.kits]
        used += [f"{n} x {code} lot {lot}" for code, lot, n in p.supplies]
        screen.note("uses " + (", ".join(used) or "nothing on record"))
        for what in p.breaches:
            screen.alert(f"{what}: recorded all the same, with that breach named")
        screen.todo(f"stockroom {p.command}")
        if p.breaches:
            screen.todo(f"nobody came, or it was declined: stockroom {p.otherwise}")
    if len(usual) > 1:
        screen.line("All that went as usual in one line:")
        screen.todo(f"stockroom booking done {' '.join(usual)}")
    first = f"B-{found[0].booking.number}"
    screen.note(f"stopped after two cycles: stockroom booking done {first} --stopped --cycles 2")
    screen.note(f"nobody came: stockroom booking missed {first} --kit sealed, or --kit opened")
    screen.note("more used, another kit, one wasted: --used PRODUCT=N, --pull P-…, --wasted P-…")
