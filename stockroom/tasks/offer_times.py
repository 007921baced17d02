"""For the telephone: which times could still be served; and what to take out of the fridge on a day."""

from dataclasses import dataclass
from datetime import date, timedelta

from stockroom.core.offers import Offer, offers
from stockroom.core.warmup import Row
from stockroom.store.engine import Store
from stockroom.tasks.places import procedure_named
from stockroom.tasks.rules import rules
from stockroom.tasks.warm_plan import warm_plan


@dataclass(frozen=True, slots=True)
class Offered:
    """The times that could be served, and the days without any, with why."""

    procedure: str
    minutes: int
    offers: tuple[Offer, ...]
    none: tuple[tuple[date, str], ...]


def offered(store: Store, at: int, procedure: str, cycles: int | None, days: int, site: str | None) -> Offered:
    """Start times from now on for which a warm kit could be had. Raises: Refused."""
    with store.reading() as conn:
        rule = rules(conn, at)
        found = procedure_named(rule.practice, procedure)
        where = rule.site(site)
        made = warm_plan(conn, at, site=where or None, rule=rule)
    times, none = offers(
        found, cycles, rule.practice, where, made.needs, made.kits.out, made.kits.fridge, rule.openings, at, days
    )
    return Offered(found.code, found.seconds(cycles) // 60, tuple(times), tuple(none))


def to_take_out(store: Store, at: int, day: date, site: str | None) -> list[Row]:
    """Rows of the plan whose kit has to leave the fridge on a day, in order of time."""
    with store.reading() as conn:
        rule = rules(conn, at)
        made = warm_plan(conn, at, site=site, rule=rule)
    opening = rule.opening(rule.sites(site)[0])
    start, end = opening.midnight(day), opening.midnight(day + timedelta(days=1))
    wanted = [
        r
        for r in made.rows
        if r.pull is None and r.take_out_staffed_by is not None and start <= r.take_out_staffed_by < end
        and r.state in ("due", "planned")
    ]  # fmt: skip
    return sorted(wanted, key=lambda r: (r.take_out_staffed_by or 0, r.start, r.booking))
