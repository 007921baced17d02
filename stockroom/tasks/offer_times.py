"""For the telephone: which times could still be served."""

from dataclasses import dataclass
from datetime import date

from stockroom.core.offers import Offer, offers
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
