"""The day sheet: what the assistant, the scheduler and the manager each have to do now, most urgent first."""

from collections.abc import Sequence
from dataclasses import dataclass

from stockroom.core.records import Finding
from stockroom.core.units import count, few
from stockroom.core.warmup import Row
from stockroom.core.when import day_text, local_text
from stockroom.store import Link, orders
from stockroom.store.engine import Store
from stockroom.tasks.diary import diary
from stockroom.tasks.excursions_now import events_to_decide
from stockroom.tasks.fridge_now import FridgeNow, check
from stockroom.tasks.list_stock import stock_report
from stockroom.tasks.rules import Rules, rules
from stockroom.tasks.warm_plan import HELP, WarmPlan, in_hours, warm_plan

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
        fridges = check(conn, as_of, site=site).fridges
        parts = {
            "assistant": lambda: _assistant(conn, rule, plan, fridges, as_of, site),
            "scheduler": lambda: _scheduler(conn, rule, plan, as_of, site),
            "manager": lambda: _manager(conn, rule, fridges, as_of, site),
        }
        found = {r: _urgent_first(parts[r]()) for r in ROLES if role in (None, r)}
    return DaySheet(as_of, day_text(day), found)


def _urgent_first(found: Sequence[Finding]) -> tuple[Finding, ...]:
    return tuple(sorted(found, key=lambda f: not f.urgent))


def _assistant(
    conn: Link, rule: Rules, plan: WarmPlan, fridges: Sequence[FridgeNow], as_of: int, site: str | None
) -> list[Finding]:
    found: list[Finding] = []
    for f in fridges:
        found += _warnings(f)
        found += _checks_to_do(rule, f, as_of)
    for r in plan.rows:
        if r.state == "due" and r.take_out_staffed_by is not None:
            when = local_text(r.take_out_staffed_by, rule.zone, as_of)
            what = f"take out {r.product} lot {r.lot} from {r.place} by {when}, for B-{r.booking}"
            found.append(Finding("take-out", what, f"stockroom warmup pull B-{r.booking}", urgent=True))
    for kit, why in plan.kits.unusable:
        found.append(
            Finding("held-out", f"P-{kit.number} ({kit.product}) is out and {why}: do not use it", urgent=True)
        )
    over = [b for b in diary(conn, rule, as_of, rule.sites(site)).values() if b.state == "booked" and b.end <= as_of]
    if over:
        listed = ", ".join(f"B-{b.number}" for b in sorted(over, key=lambda b: b.start)[:8])
        found.append(
            Finding("to-record", f"{count(len(over), 'booking')} to record: {listed}", "stockroom booking done")
        )
    today = rule.opening(rule.sites(site)[0]).day(as_of)
    for o in orders.orders(conn, as_of).values():
        if o.state == "open" and rule.opening(o.site).day(o.due) == today:
            found.append(
                Finding(
                    "delivery",
                    f"O-{o.number} from {o.supplier} comes today",
                    f"stockroom stock receive … --order O-{o.number}",
                )
            )
    return found


def _warnings(f: FridgeNow) -> list[Finding]:
    found = []
    for e, _ in events_to_decide(f.excursions):
        if e.lasts:
            what = f"{f.fridge.name} is out of range now (E-{e.number})"
            todo = (
                f'stockroom stock move --all --from "{f.fridge.name}" --to PLACE'
                if f.pieces
                else "stockroom fridge check"
            )
            found.append(Finding("out-of-range", what, todo, urgent=True))
        elif e.held:
            what = f"{count(e.held, 'piece')} in quarantine since E-{e.number} in {f.fridge.name}: do not use"
            found.append(Finding("do-not-use", what, "stockroom stock list", urgent=True))
    if f.silent is not None:
        found.append(Finding("silent", f"the logger of {f.fridge.name} is silent: check by hand", _log(f), urgent=True))
    return found


def _log(f: FridgeNow) -> str:
    return f'stockroom fridge log CELSIUS --min X --max Y --fridge "{f.fridge.name}"'


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
    return [Finding("check-due", f"{name} check of {f.fridge.name}", _log(f))]


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
    coming = [
        b
        for b in diary(conn, rule, as_of, rule.sites(site)).values()
        if b.state == "booked" and opening.day(b.start) == today
    ]
    if coming:
        first = min(coming, key=lambda b: b.start)
        what = f"{count(len(coming), 'booking')} today, the first at {local_text(first.start, rule.zone, as_of)}"
        found.append(Finding("today", what, "stockroom booking list --days 0"))
    outside = [b for b in plan.bookings.values() if not in_hours(rule, b)]
    if outside:
        listed = few([f"B-{b.number}" for b in sorted(outside, key=lambda b: b.start)])
        todo = f"stockroom booking move B-{outside[0].number} --start WHEN"
        found.append(Finding("outside-hours", f"booked when nobody is in: {listed}", todo, urgent=True))
    for u in plan.unused:
        until = (
            "its time is over"
            if u.over
            else ""
            if u.use_by is None
            else f"use by {local_text(u.use_by, rule.zone, as_of)}"
        )
        what = f"P-{u.kit.pull} ({u.kit.product}) is out and no booking uses it" + (f"; {until}" if until else "")
        product = rule.practice.product(u.kit.product)
        back = product is not None and product.returnable and not u.over
        todo = (
            f"stockroom warmup back P-{u.kit.pull}"
            if back
            else f"stockroom warmup promise P-{u.kit.pull} B-…, or move a booking to it"
        )
        if u.over:
            todo = f"stockroom stock discard --pull P-{u.kit.pull} --why … --by INITIALS"
        found.append(Finding("kit-free", what, todo, urgent=True))
    return found


def _manager(conn: Link, rule: Rules, fridges: Sequence[FridgeNow], as_of: int, site: str | None) -> list[Finding]:
    found: list[Finding] = []
    for f in fridges:
        for e, others in events_to_decide(f.excursions):
            held = f", {count(e.held, 'piece')} held" if e.held else ""
            also = f" (with {few(others)})" if others else ""
            what = f"decide about E-{e.number}{also} in {f.fridge.name}{held}"
            found.append(
                Finding(
                    "decide", what, f"stockroom fridge decide E-{e.number} --release|--discard --why …", urgent=True
                )
            )
        if f.missed:
            day = f.missed[-1][0]
            todo = f'stockroom fridge explain {day.isoformat()} --fridge "{f.fridge.name}" --why …'
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
                Finding("calibration", f"the probe of {f.fridge.name} is overdue for calibration", urgent=True)
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
        found.append(Finding("unaccounted", what, f'stockroom stock count "{place}"', urgent=True))
    for o in orders.orders(conn, as_of).values():
        if o.state == "open" and o.due < as_of and (site is None or o.site == site):
            what = f"O-{o.number} from {o.supplier} was due {local_text(o.due, rule.zone, as_of)}"
            found.append(Finding("overdue", what, f"stockroom reorder expect O-{o.number} --on DAY", urgent=True))
    found += _to_order(conn, rule, as_of, site)
    return found


def _to_order(conn: Link, rule: Rules, as_of: int, site: str | None) -> list[Finding]:
    from stockroom.tasks.reorder import order_plan

    found = []
    for s in order_plan(conn, rule, as_of, site).suppliers:
        lines = [x for x in s.order.lines if x.order_quantity]
        if lines:
            what = f"order from {s.supplier.name} by {local_text(s.arrival.order_by, rule.zone, as_of)}: {count(len(lines), 'product')}"
            found.append(Finding("order", what, "stockroom reorder list"))
    return found
