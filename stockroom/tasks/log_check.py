"""One check by hand: the reading, the display's min and max, judged by the strictest limit of what is inside."""

from dataclasses import replace

from stockroom.core.practice import Fridge
from stockroom.core.units import LIKELY_HIGH, LIKELY_LOW, LIKELY_STEP, celsius, degrees
from stockroom.core.when import utc_text
from stockroom.errors import Refused
from stockroom.store import fridges, ledger
from stockroom.store.engine import Store
from stockroom.tasks.act import Act, Recorded, Recording, cautions, recording
from stockroom.tasks.consequences import settle
from stockroom.tasks.fault_plan import fault_plan, line
from stockroom.tasks.fridge_now import fridge_now, limits_inside
from stockroom.tasks.places import fridge_named, key_of
from stockroom.tasks.rules import rules
from stockroom.tasks.shelves import lots_there


def log_check(
    store: Store, act: Act, milli: int, *, low: int | None, high: int | None, fridge: str | None, note: str | None
) -> Recorded:
    """Records a check (thousandths of °C). A likely slip is asked about, and recorded as doubtful where nobody is there.

    Raises: Refused for min above max, an unknown fridge, or a slip that the person takes back.
    """
    with recording(store, act, "check") as rec:
        name = fridge_named(rec.rules.practice, fridge, act.site)
        place = rec.rules.practice.fridge(name)
        assert place is not None
        if low is not None and high is not None and low > high:
            raise Refused(
                "min-above-max", f"min {degrees(low)} is above max {degrees(high)}", "look again; nothing was recorded"
            )
        key = key_of(rec, name)
        doubts = _doubts(rec, key, name, milli, low, high)
        if doubts and act.ask is not None and not act.ask(f"{doubts[0]}. Is that really so?"):
            raise Refused("slip", "not recorded", "look at the display again")
        doubtful = bool(doubts) and act.ask is None
        before = fridges.hand_checks(rec.conn, key, name, act.at)
        earlier = [c.at for c in before if c.low is not None and c.high is not None]
        fridges.checked(rec.book, key, milli, low, high, doubtful, note)
        if doubtful:
            rec.broke("doubtful", doubts[0], f"if it is a slip: stockroom undo {rec.book.label} --why slip")
        _judge(rec, place, milli, low, high)
        span = [f", {word} {degrees(v)}" for word, v in (("min", low), ("max", high)) if v is not None]
        rec.book.what = f"{name}: {degrees(milli)}" + "".join(span)
        if place.checks == "minmax" and not (low is not None and high is not None):
            rec.note("no-min-max", "without min and max it says nothing of the time since the last check")
        rec.touches(name, earlier[-1] if earlier else act.at)
        settle(rec)
        rec.fridges.clear()
        if not rec.fields["in_range"]:
            rec.fields["excursion"] = _seen_by(rec, name, milli, low, high)
            rec.fields["advice"] = _advice(rec, name)
    return rec.done()


def _seen_by(rec: Recording, name: str, milli: int, low: int | None, high: int | None) -> str | None:
    """The excursion that this check itself tells of: on the strictest line that it broke worst."""
    place = rec.rules.practice.fridge(name)
    assert place is not None
    floor, roof = limits_inside(rec.conn, rec.rules, place, rec.act.at)
    worst = max((v for v in (milli, low, high) if v is not None), key=lambda v: max(v - roof, floor - v))
    direction = "warm" if worst > roof else "cold"
    mine = [
        (e.limit != (roof if direction == "warm" else floor), n)
        for n, e in rec.excursions
        if e.source == "hand" and e.direction == direction and e.first_out <= rec.act.at <= e.last_out
    ]
    return f"E-{min(mine)[1]}" if mine else None


def _doubts(rec: Recording, key: int, name: str, milli: int, low: int | None, high: int | None) -> list[str]:
    doubts = []
    for value in (milli, low, high):
        if value is not None and not LIKELY_LOW <= value <= LIKELY_HIGH:
            doubts.append(f"{degrees(value)} is unusual for {name}")
    if (low is not None and milli < low) or (high is not None and milli > high):
        doubts.append(f"{degrees(milli)} now is not between min {degrees(low)} and max {degrees(high)}")
    seen = [fridges.last_reading(rec.conn, key, rec.act.at)]
    sound = [c for c in fridges.hand_checks(rec.conn, key, name, rec.act.at) if not c.doubtful]
    seen += [(c.at, c.milli) for c in sound[-1:]]
    last = max((s for s in seen if s is not None), default=None)
    if last is not None and abs(milli - last[1]) >= LIKELY_STEP:
        doubts.append(f"{degrees(milli)} is far from the last reading, {degrees(last[1])}")
    return doubts


def _judge(rec: Recording, fridge: Fridge, milli: int, low: int | None, high: int | None) -> None:
    floor, roof = limits_inside(rec.conn, rec.rules, fridge, rec.act.at)
    values = [v for v in (milli, low, high) if v is not None]
    in_range = all(floor <= v <= roof for v in values)
    if not in_range:
        worst = max(values, key=lambda v: max(v - roof, floor - v))
        side = f"above {degrees(roof)}" if worst > roof else f"below {degrees(floor)}"
        rec.note("out-of-range", f"{fridge.name}: {degrees(worst)} is {side}", urgent=True)
        inside = {x.lot.product for x in lots_there(rec.conn, rec.act.at).values() if x.state.quantity(fridge.name)}
        cautions(rec, inside)
    rec.fields |= {
        "fridge": fridge.name,
        "at": utc_text(rec.act.at),
        "celsius": celsius(milli),
        "min_celsius": celsius(low),
        "max_celsius": celsius(high),
        "in_range": in_range,
        "excursion": None,
        "advice": [],
    }


def _advice(rec: Recording, name: str) -> list[str]:
    """What to do now, in order: the plan that ``fridge check`` shows as well."""
    key = ledger.place_key(rec.conn, name)
    # A check typed in later speaks of its own time, where nothing later is known.
    later = key is not None and fridges.anything_after(rec.conn, key, rec.act.at)
    now = max(rec.act.at, rec.act.now) if later else rec.act.at
    rule = rules(rec.conn, now)
    if rule.practice.fridge(name) is None:
        return ["The practice file does not name this fridge any more: stockroom practice show"]
    plan = fault_plan(rec.conn, rule, fridge_now(rec.conn, rule, name, now, None), now)
    if not plan:
        return [f"Within what the product itself allows; log {name} again in 30 minutes: stockroom fridge check"]
    # The plan has the commands: they need not be said twice.
    rec.findings = [replace(f, todo="") if f.slug == "quarantined" else f for f in rec.findings]
    return [line(step) for step in plan]
