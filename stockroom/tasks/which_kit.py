"""Which of the kits that are out a booking used, unless somebody says so."""

from collections.abc import Sequence

from stockroom.core.practice import Product
from stockroom.core.records import Booking, Pull
from stockroom.core.warmup import ready_at, use_by
from stockroom.store import Link, ledger
from stockroom.tasks.rules import Rules
from stockroom.tasks.shelves import LotNow, lots_there_of
from stockroom.tasks.warm_plan import kit_out


def kits_for(
    conn: Link,
    rule: Rules,
    product: Product,
    booking: Booking,
    at: int,
    lot: str | None = None,
    wanted: Sequence[int] = (),
) -> tuple[list[tuple[Pull, LotNow]], list[int]]:
    """Kits that were out at ``at``, in the order in which the booking would use them; and P-numbers among ``wanted``
    that were not.

    Named ones come first, then those promised to it, then free ones of its site: warm ones that may be used before
    others, and among them the earliest use-by.
    """
    lots = {x.lot.key: x for x in lots_there_of(conn, product.code, at)}
    ranked, gone = [], []
    pulls = ledger.pulls(conn) if wanted else ledger.pulls_of(conn, lots)
    for pull in pulls.values():
        if pull.product != product.code:
            continue
        named = pull.number in wanted
        now = lots.get(pull.lot)
        if now is None or not now.state.quantity(pull.place):
            gone += [pull.number] if named else []
            continue
        here = (rule.practice.site_of(pull.source) or booking.site) == booking.site
        mine = pull.booking == booking.number
        if (lot is not None and now.lot.code != lot) or not (named or mine or (pull.booking is None and here)):
            continue
        kit = kit_out(rule, pull, now, booking.site)
        poor = any(p.held for p in now.state.at(pull.place)) or ready_at(kit, product) > booking.start
        ranked.append(((not named, not mine, poor, use_by(kit, product) or 1 << 60, pull.number), pull, now))
    return [(pull, now) for _, pull, now in sorted(ranked, key=lambda r: r[0])], gone
