"""The take-out moments as calendar events: one for each product that a booking wants, and what became of earlier ones.

Nothing is remembered about what was written before. An event's number and its revision follow from the records:

- the booking and the product are its identity, so it keeps its UID wherever the booking moves;
- its SEQUENCE is (entries that the plan may rest on) x 1000 + (moments passed since the last of them). Records are
  only added, and while none is added the plan changes only where a moment passes at which a kit had to be out or a
  booking begins; so whatever changes in an event raises its number, and nothing lowers it;
- every booking of the last weeks and of the time to come that may have had an event and has none now is written as
  cancelled, whether it was cancelled, moved, undone, is done, or has its kit already.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from stockroom.core.practice import Practice
from stockroom.core.takeout import habits, take_out
from stockroom.core.usage import used_by
from stockroom.core.warmup import Row
from stockroom.formats.calendar_text import OWN_UID
from stockroom.store import Link, bookings, entries
from stockroom.store.bookings import Mention
from stockroom.tasks.diary import diary
from stockroom.tasks.rules import Rules, rules
from stockroom.tasks.warm_plan import WarmPlan, warm_plan

PAST_SECONDS = 14 * 86_400
"""So long after its start a booking's event is still written, as cancelled."""
PHASES = 1000


@dataclass(frozen=True, slots=True)
class TakeOutEvent:
    """One reminder. Instants in UTC seconds; ``rows`` are the kits to take out, none where it is cancelled."""

    uid: str
    sequence: int
    booking: int
    product: str
    at: int
    rows: tuple[Row, ...]
    patient: str | None = None
    cautions: tuple[str, ...] = ()

    @property
    def cancelled(self) -> bool:
        """True where nothing is to be taken out for it any more."""
        return not self.rows


@dataclass(frozen=True, slots=True)
class TakeOutCalendar:
    """The reminders at an instant, in order of time."""

    as_of: int
    practice: str
    zone: str
    events: tuple[TakeOutEvent, ...]


def take_out_calendar(conn: Link, at: int, *, site: str | None, patients: bool) -> TakeOutCalendar:
    """The reminders of all coming bookings. A patient's code is among them only with ``patients``."""
    rule = rules(conn, at)
    plan = warm_plan(conn, at, site=site, rule=rule)
    wanted: dict[tuple[int, str], list[Row]] = {}
    for row in plan.rows:
        if row.pull is None and row.take_out_staffed_by is not None and row.state in ("due", "planned"):
            wanted.setdefault((row.booking, row.product), []).append(row)
    sequence, place = _sequence(conn, rule, at), entries.first_hash(conn)[:16]
    mentioned = bookings.mentions(conn, at)
    found = []
    for number, product in _possible(rule, mentioned, at, site):
        rows = tuple(wanted.pop((number, product), ()))
        found.append(_event(rule, plan, (number, product), rows, mentioned[number], sequence, place, patients))
    for (number, product), left in wanted.items():
        found.append(_event(rule, plan, (number, product), tuple(left), mentioned[number], sequence, place, patients))
    found.sort(key=lambda e: (e.at, e.booking, e.product))
    return TakeOutCalendar(at, rule.practice.name, rule.practice.timezone, tuple(found))


def _event(
    rule: Rules, plan: WarmPlan, key: tuple[int, str], rows: tuple[Row, ...], was: Mention, sequence: int, place: str,
    patients: bool,
) -> TakeOutEvent:  # fmt: skip
    number, code = key
    product = rule.practice.product(code)
    if rows:
        at = min(r.take_out_staffed_by for r in rows if r.take_out_staffed_by is not None)
    else:
        warmup = product.warmup_seconds if product else 0
        moment = take_out(was.start, was.start, warmup, None, rule.opening(was.site), habits(rule.practice))
        at = moment.by if moment.staffed_by is None else moment.staffed_by
    booking = plan.bookings.get(number)
    safe = "".join(c if c.isascii() and c.isalnum() else f"_{ord(c):x}" for c in code)
    return TakeOutEvent(
        f"B-{number}-{safe}@{place}{OWN_UID}", sequence, number, code, at, rows,
        booking.patient if booking and patients and rows else None, product.caution if product and rows else (),
    )  # fmt: skip


def _possible(rule: Rules, mentioned: Mapping[int, Mention], at: int, site: str | None) -> Iterable[tuple[int, str]]:
    """(booking, product) of all that may have had an event: any procedure that a booking ever had."""
    sites = rule.sites(site)
    uses = {p.code: _warm(rule.practice, p.code) for p in rule.practice.procedures}
    for number, was in mentioned.items():
        where = was.site if was.site in [s.name for s in rule.practice.sites] else rule.practice.sites[0].name
        if was.start >= at - PAST_SECONDS and where in sites:
            for code in sorted({c for p in was.procedures for c in uses.get(p, ())}):
                yield number, code


def _warm(practice: Practice, code: str) -> list[str]:
    """The products of a procedure that have to be taken out to warm."""
    procedure = practice.procedure(code)
    products = {p.code: p for p in practice.products}
    if procedure is None:
        return []
    return [c for c in used_by(procedure, procedure.cycles, products).gross if products[c].warms]


def _sequence(conn: Link, rule: Rules, at: int) -> int:
    """The revision of every event of this instant; see the module."""
    count, recorded = entries.plan_version(conn, at)
    habit = habits(rule.practice)
    passed: set[int] = set()
    for booking in diary(conn, rule, at).values():
        if booking.state != "booked" or booking.start <= recorded:
            continue
        opening = rule.opening(booking.site)
        for code in _warm(rule.practice, booking.procedure):
            product = rule.practice.product(code)
            if product is not None:
                moment = take_out(booking.start, booking.end, product.warmup_seconds, None, opening, habit)
                passed |= {m for m in (moment.by, moment.staffed_by, booking.start) if m is not None}
    # Some hold up to their moment and some through it, so the second after it counts as well.
    phase = sum(1 for m in passed | {m + 1 for m in passed} if recorded < m <= at)
    return count * PHASES + min(phase, PHASES - 1)
