"""What a site used of a product in its past weeks, day by day, and how long before each booking was made."""

from datetime import date, timedelta

from stockroom.core.opening import Opening, merged
from stockroom.core.past_use import PastUse, past_use
from stockroom.core.practice import Product
from stockroom.core.records import Movement
from stockroom.store import Link, ledger
from stockroom.tasks.diary import diary
from stockroom.tasks.order_basis import SiteNow
from stockroom.tasks.rules import Rules
from stockroom.tasks.shelves import lots_of

WEEK = timedelta(days=7)
LONGEST = 400
"""Days: what is said to have been booked longer ahead (a slip in an import, say) counts as booked so long ahead."""


def past_weeks(conn: Link, rule: Rules, here: SiteNow, product: Product) -> PastUse | None:
    """The whole weeks from the first one after the product was first there to the last one before today, those left out
    in which the practice was closed for more than half of its usual time; None where there are none.

    What was used outside bookings is in it. What was booked and is not recorded yet is not: it counts as still to come.
    """
    moved = _movements(conn, here, product)
    if not moved:
        return None
    opening, today = here.opening, here.opening.day(here.at)
    first = opening.day(min(m.at for m in moved)) + timedelta(days=6)
    monday, this = first - timedelta(days=first.weekday()), today - timedelta(days=today.weekday())
    mondays = [monday + n * WEEK for n in range((this - monday).days // 7) if _open(opening, monday + n * WEEK)]
    place = {day: n for n, day in enumerate(mondays)}
    bookings = diary(conn, rule, here.at)
    used = []
    for m in moved:
        day = opening.day(m.at)
        week = place.get(day - timedelta(days=day.weekday()))
        if m.target != "used" or week is None:
            continue
        booking = None if m.booking is None else bookings.get(m.booking)
        ahead = None if booking is None else min(LONGEST, max(0, (day - opening.day(booking.made_at)).days))
        used.append((7 * week + day.weekday(), m.quantity, ahead))
    return past_use(len(mondays), used) if mondays else None


def _movements(conn: Link, here: SiteNow, product: Product) -> list[Movement]:
    """Everything that moved at the site by now: a kit that is out belongs to the site that it was taken out at."""
    pulls = {pull.place: pull.source for pull in ledger.pulls(conn, here.at).values()}
    practice, first = here.practice, here.practice.sites[0].name

    def home(m: Movement) -> str:
        found = (practice.site_of(pulls.get(place, place)) for place in (m.source, m.target))
        return next((site for site in found if site is not None), first)

    return [
        m for now in lots_of(conn, product.code, here.at) for m in now.records.movements if m.at <= here.at and home(m) == here.name
    ]  # fmt: skip


def _open(opening: Opening, monday: date) -> bool:
    usual = 60 * sum(b - a for day in opening.site.hours for a, b in merged(day))
    staffed = sum(b - a for a, b in opening.spans(opening.midnight(monday), opening.midnight(monday + WEEK)))
    return 2 * staffed >= usual
