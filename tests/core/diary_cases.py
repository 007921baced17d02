"""A practice with one cold kit, and short ways to say bookings, kits and plans in its local time."""

from dataclasses import replace
from datetime import datetime

from stockroom.core.opening import Opening
from stockroom.core.practice import Keep, Practice, Product, Site
from stockroom.core.warmup import FridgeStock, Kit, Need, plan

HOUR = 3600
CK = Product(
    "CK", "Cold kit", "kit", "Supplier", keep=Keep(2000, 5000), warmup_seconds=24 * HOUR, max_out_seconds=72 * HOUR
)
HOURS = (*(((510, 1050),),) * 4, ((510, 960),), (), ())
"""Monday to Thursday 08:30-17:30, Friday to 16:00, closed at the week-end."""
ALWAYS = (((0, 1440),),) * 7


def practice(*products: Product, margin: int = 15, rounds=()) -> Practice:
    return Practice("P", "UTC", "EUR", (), products=products or (CK,), margin_minutes=margin, rounds=tuple(rounds))


def opening(zone="Europe/Amsterdam", hours=HOURS, closed=(), exceptions=()) -> Opening:
    return Opening(zone, Site("", hours, tuple(closed)), tuple(exceptions))


PLACE = opening()
MONDAY = "2026-03-02T09:00"


def moment(text: str, zone: str = "Europe/Amsterdam") -> int:
    """A local time without clock change, or one with its offset, as UTC seconds."""
    local = datetime.fromisoformat(text)
    if local.tzinfo is not None:
        return int(local.timestamp())
    return opening(zone).at(local.date(), local.hour * 60 + local.minute) + local.second


def need(start: str | int, booking: int = 7, minutes: int = 105, **given) -> Need:
    at = moment(start) if isinstance(start, str) else start
    return Need(booking, at, at + 60 * minutes, "whitening", "CK", "")._replace(**given)


def stock(quantity: int = 1, expiry: str = "2027-01-01T00:00", **given) -> FridgeStock:
    return replace(FridgeStock("CK", 1, "L1", "", "Fridge 1", moment(expiry), quantity), **given)


def kit(pull: int, pulled: str, **given) -> Kit:
    return replace(Kit("CK", 1, "L1", "", moment("2027-01-01T00:00"), f"P-{pull}", pull, moment(pulled)), **given)


def rows(needs, now, kits=(), fridge=(), product=CK, place=PLACE, products=(), **setting):
    at = moment(now) if isinstance(now, str) else now
    return plan(needs, kits, fridge, practice(product, *products, **setting), {"": place}, at)


def row(needs, now, kits=(), fridge=(), **setting):
    (only,) = rows([needs], now, kits, fridge, **setting)
    return only
