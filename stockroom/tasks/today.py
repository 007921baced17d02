"""The day sheet: what the assistant, the scheduler and the manager each have to do now, most urgent first."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta

from stockroom.core.deliveries import order_day
from stockroom.core.opening import Opening
from stockroom.core.practice import Supplier
from stockroom.core.records import Finding
from stockroom.core.units import count, few, quoted
from stockroom.core.warmup import Row
from stockroom.core.when import day_text, local_text
from stockroom.errors import Refused
from stockroom.store import Link, orders
from stockroom.store.engine import Store
from stockroom.tasks.diary import diary
from stockroom.tasks.fault_plan import FOR_MANAGER, check_by_hand, fault_plan
from stockroom.tasks.fridge_now import FridgeNow, fridges_open
from stockroom.tasks.in_vain import in_vain
from stockroom.tasks.list_stock import stock_report
from stockroom.tasks.refuge import refuge_for
from stockroom.tasks.rules import Rules, rules
from stockroom.tasks.shelves import lots_there
from stockroom.tasks.warm_plan import HELP, WarmPlan, in_hours, warm_plan

Plans = Mapping[str, Sequence[Finding]]
"""Fridge -> what to do about it, in order."""

ROLES = ("assistant", "scheduler", "manager")


@dataclass(frozen=True, slots=True)
class DaySheet:
    """Things to do by role; ``attention`` counts the urgent ones."""

    as_of: int
    day: str
    roles: dict[str, tuple[Finding, ...]]

    @property
    def attention(self) -> int:
        """How many things cannot wait."""
        return sum(f.urgent for found in self.roles.values() for f in found)


def day_sheet(store: Store, as_of: int, *, role: str | None = None, site: str | None = None) -> DaySheet:
    """What there is to do at an instant, for one role or all."""
    with store.reading() as conn:
        rule = rules(conn, as_of)
        day = rule.opening(rule.sites(site)[0]).day(as_of)
        plan = warm_plan(conn, as_of, site=site, rule=rule)
        mine = rule.sites(site)
        fridges = fridges_open(conn, rule, [f.name for f in rule.practice.fridges if f.site in mine], as_of)
        plans = {f.fridge.name: fault_plan(conn, rule, f, as_of) for f in fridges}
        parts = {
            "assistant": lambda: _assistant(conn, rule, plan, fridges, plans, as_of, site),
            "scheduler": lambda: _scheduler(conn, rule, plan, as_of, site),
            "manager": lambda: _manager(conn, rule, fridges, plans, as_of, site),
        }
        found = {r: _urgent_first(parts[r]()) for r in ROLES if role in (None, r)}
    return DaySheet(as_of, day_text(day), found)


def _urgent_first(found: Sequence[Finding]) -> tuple[Finding, ...]:
    return tuple(sorted(found, key=lambda f: not f.urgent))


def _assistant(
    conn: Link, rule: Rules, plan: WarmPlan, fridges: Sequence[FridgeNow], plans: Plans, as_of: int, site: str | None
) -> list[Finding]:
    found: list[Finding] = []
    # A fridge that is out of range now comes before one of which nothing is known.
    for f in sorted(fridges, key=lambda f: all(s.slug != "out-of-range" for s in plans[f.fridge.name])):
        found += [step for step in plans[f.fridge.name] if step.slug not in FOR_MANAGER]
        found += _checks_to_do(rule, f, as_of)
    found += _warm_places(conn, rule, as_of, site)
    for r in plan.rows:
        if r.state == "due" and r.take_out_staffed_by is not None:
            when = local_text(r.take_out_staffed_by, rule.zone, as_of)
            what = f"take out {r.product} lot {r.lot} from {r.place} by {when}, for B-{r.booking}"
            found.append(Finding("take-out", what, f"stockroom warmup pull B-{r.booking}", urgent=True))
    for kit, why in plan.kits.unusable:
        found.append(
            Finding("held-out", f"P-{kit.number} ({kit.product}) is out and {why}: do not use it", urgent=True)
        )
    standing = diary(conn, rule, as_of, rule.sites(site), standing=True)
    over = [b for b in standing.values() if b.end <= as_of]
    if over:
        listed = ", ".join(f"B-{b.number}" for b in sorted(over, key=lambda b: b.start)[:8])
        found.append(
            Finding("to-record", f"{count(len(over), 'booking')} to record: {listed}", "stockroom booking done")
        )
    today = rule.opening(rule.sites(site)[0]).day(as_of)
    for o in orders.open_orders(conn, as_of):
        if site in (None, o.site) and rule.opening(o.site).day(o.due) == today:
            found.append(
                Finding(
                    "delivery",
                    f"O-{o.number} from {o.supplier} comes today",
                    f"stockroom stock receive … --order O-{o.number}",
                )
            )
    return found


def _warm_places(conn: Link, rule: Rules, as_of: int, site: str | None) -> list[Finding]:
    """What is kept cold and stands in no fridge, kits that are out to warm aside: nobody measures it."""
    practice = rule.practice
    standing: dict[str, list[tuple[int, int, bool]]] = {}
    for x in lots_there(conn, as_of).values():
        product = practice.product(x.lot.product)
        for p in x.state.inside():
            if practice.fridge(p.place) is None and not p.place.startswith("P-"):
                cold = product is not None and product.cold
                standing.setdefault(p.place, []).append((p.quantity, p.since, cold))
    found = []
    for place, pieces in sorted(standing.items()):
        cold_ones = [(n, since) for n, since, cold in pieces if cold]
        here = practice.site_of(place)
        if not cold_ones or (site is not None and here not in (None, site)):
            continue
        n = sum(n for n, _ in cold_ones)
        since = local_text(min(since for _, since in cold_ones), rule.zone, as_of)
        what = f"{count(n, 'piece')} of what is kept cold in {place} since {since}: unmonitored, take it to a fridge"
        refuge = refuge_for(conn, rule, place, here or rule.sites(site)[0], as_of)
        target = quoted(refuge.place) if refuge.fridge else "FRIDGE"
        which = "--all" if all(cold for _, _, cold in pieces) else "PRODUCT LOT --quantity N"
        todo = f"stockroom stock move {which} --from {quoted(place)} --to {target}"
        found.append(Finding("kept-warm", what, todo, urgent=True))
    return found


def _checks_to_do(rule: Rules, f: FridgeNow, as_of: int) -> list[Finding]:
    """The check that is open now: made late is better than missed."""
    if f.fridge.checks == "logger" or f.off:
        return []
    opening = rule.opening(f.fridge.site)
    spans = opening.day_spans(opening.day(as_of))
    if not spans:
        return []
    middle = (spans[0][0] + spans[-1][1]) // 2
    done = [at for at in f.checks_today if (at < middle) == (as_of < middle)]
    wanted = as_of < middle or f.fridge.checks == "twice"
    if done or not wanted or as_of > spans[-1][1] + 3600:
        return []
    name = "opening" if as_of < middle else "closing"
    return [Finding("check-due", f"{name} check of {f.fridge.name}", check_by_hand(f.fridge))]


def _scheduler(conn: Link, rule: Rules, plan: WarmPlan, as_of: int, site: str | None) -> list[Finding]:
    found = []
    alike: dict[tuple[str, str, str], list[Row]] = {}
    for r in plan.rows:
        if r.state in HELP:
            alike.setdefault((r.state, r.product, r.why), []).append(r)
    for (state, code, why), same in alike.items():
        opener = f"B-{same[0].booking} on {local_text(same[0].start, rule.zone, as_of)}"
        more = few([f"B-{r.booking}" for r in same[1:]])
        what = f"{code} {state} for {opener}" + (f", then {more}" if more else "") + f": {why}"
        found.append(Finding(state, what, f"stockroom {same[0].todo}", urgent=True))
    opening = rule.opening(rule.sites(site)[0])
    today = opening.day(as_of)
    standing = diary(conn, rule, as_of, rule.sites(site), standing=True)
    coming = [b for b in standing.values() if opening.day(b.start) == today]
    if coming:
        first = min(coming, key=lambda b: b.start)
        what = f"{count(len(coming), 'booking')} today, the first at {local_text(first.start, rule.zone, as_of)}"
        found.append(Finding("today", what, "stockroom booking list --days 0"))
    outside = [b for b in plan.bookings.values() if not in_hours(rule, b)]
    if outside:
        listed = few([f"B-{b.number}" for b in sorted(outside, key=lambda b: b.start)])
        todo = f"stockroom booking move B-{outside[0].number} --start WHEN"
        found.append(Finding("outside-hours", f"booked when nobody is in: {listed}", todo, urgent=True))
    found += [in_vain(u, rule, as_of).finding for u in plan.unused]
    return found


def _manager(
    conn: Link, rule: Rules, fridges: Sequence[FridgeNow], plans: Plans, as_of: int, site: str | None
) -> list[Finding]:
    found: list[Finding] = []
    for f in fridges:
        found += [step for step in plans[f.fridge.name] if step.slug in FOR_MANAGER]
        if f.missed:
            day = f.missed[-1][0]
            todo = f"stockroom fridge explain {day.isoformat()} --fridge {quoted(f.fridge.name)} --why …"
            found.append(
                Finding(
                    "missed",
                    f"{count(len(f.missed), 'check')} of {f.fridge.name} missed, last {day_text(day)}",
                    todo,
                    urgent=True,
                )
            )
        if f.calibration_overdue:
            found.append(
                Finding(
                    "calibration",
                    f"the probe of {f.fridge.name} is overdue for calibration: have it done, then load its new day",
                    "stockroom practice load PRACTICE.toml",
                    urgent=True,
                )
            )
    report = stock_report(conn, rule, as_of, site=site)
    expired = sum(r.quantity for r in report.rows if r.state == "expired")
    if expired:
        found.append(
            Finding("expired", f"{count(expired, 'piece')} on hand have expired", "stockroom stock list", urgent=True)
        )
    soon = {
        (r.product, r.lot) for r in report.rows if r.state == "usable" and r.days_left is not None and r.days_left <= 30
    }
    if soon:
        found.append(
            Finding(
                "expiring",
                f"{count(len(soon), 'lot')} will expire within 30 days",
                "stockroom stock expiring --within 30",
            )
        )
    for product, lot, place, n in report.owed:
        what = f"{product} lot {lot}: {count(n, 'piece')} used that the record does not have"
        found.append(Finding("unaccounted", what, f"stockroom stock count {quoted(place)}", urgent=True))
    for o in orders.open_orders(conn, as_of):
        if o.due < as_of and (site is None or o.site == site):
            what = f"O-{o.number} from {o.supplier} was due {local_text(o.due, rule.zone, as_of)}"
            found.append(Finding("overdue", what, f"stockroom reorder expect O-{o.number} --on DAY", urgent=True))
    found += _to_order(conn, rule, as_of, site)
    return found


def _to_order(conn: Link, rule: Rules, as_of: int, site: str | None) -> list[Finding]:
    """What to order where today is the last day on which somebody can see to it; a group is told that it is."""
    closing: dict[tuple[str, int], list[str]] = {}
    for supplier in rule.practice.suppliers:
        if any(p.supplier == supplier.name for p in rule.practice.products):
            for name in rule.sites(site):
                order_by = _closes(rule.opening(name), supplier, as_of)
                if order_by is not None:
                    closing.setdefault((supplier.name, order_by), []).append(name)
    if not closing:
        return []
    # The lists of many sites are a look of their own.
    return (_group_orders if len(rule.practice.sites) > 1 else _orders)(conn, rule, as_of, closing)


def _orders(conn: Link, rule: Rules, as_of: int, closing: Mapping[tuple[str, int], Sequence[str]]) -> list[Finding]:
    from stockroom.tasks.reorder import order_plan

    found: list[Finding] = []
    for s in order_plan(conn, rule, as_of).suppliers:
        lines = [x for x in s.order.lines if x.order_quantity]
        if lines and (s.supplier.name, s.arrival.order_by) in closing:
            when = local_text(s.arrival.order_by, rule.zone, as_of)
            what = f"order from {s.supplier.name} by {when}: {count(len(lines), 'product')}"
            found.append(Finding("order", what, "stockroom reorder list"))
    return found


def _group_orders(
    conn: Link, rule: Rules, as_of: int, closing: Mapping[tuple[str, int], Sequence[str]]
) -> list[Finding]:
    placed = set()
    for o in orders.open_orders(conn, as_of):
        supplier = rule.practice.supplier(o.supplier)
        if supplier is not None:
            placed.add((o.supplier, _cut_off(rule.opening(o.site), supplier, o.at), o.site))
    found: list[Finding] = []
    for (name, order_by), sites in closing.items():
        left = [s for s in sites if (name, order_by, s) not in placed]
        if left:
            what = f"orders to {name} close {local_text(order_by, rule.zone, as_of)}, none is placed for {few(left)}"
            found.append(Finding("order", what, "stockroom reorder list"))
    return found


LAST_HOUR = 3600
"""Staffed time that is enough to place an order in."""


def _cut_off(opening: Opening, supplier: Supplier, at: int) -> int | None:
    """Until when an order of an instant goes; None where the supplier takes none."""
    try:
        return order_day(supplier, opening, at)[1]
    except Refused:
        return None


def _closes(opening: Opening, supplier: Supplier, as_of: int) -> int | None:
    """A supplier's next cut-off where nobody will be in for an hour between today and it, else None."""
    order_by = _cut_off(opening, supplier, as_of)
    tomorrow = opening.midnight(opening.day(as_of) + timedelta(days=1))
    left = 0 if order_by is None else sum(b - a for a, b in opening.spans(tomorrow, order_by))
    return order_by if left < LAST_HOUR else None
