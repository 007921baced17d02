"""What to do about a fault of a fridge, in order: the one owner of that plan.

``fridge log``, ``fridge check`` and the day sheet all show these steps, so that they never differ: leave it alone, look
at the fridge, move the stock, ask the maker, decide. Each step is a finding: what to do, and the command to type.
"""

from collections.abc import Sequence

from stockroom.core.practice import Fridge
from stockroom.core.records import Finding
from stockroom.core.units import count, degrees, few, length, quoted, quoted_lot
from stockroom.core.when import local_text
from stockroom.store import Link
from stockroom.tasks.excursions_now import ExcursionNow, foremost
from stockroom.tasks.fault import Fault, faults_of, out_now, over
from stockroom.tasks.fridge_now import FridgeNow
from stockroom.tasks.refuge import Refuge, move_all_command, refuge_for
from stockroom.tasks.rules import Rules

ANSWERED = "until the maker or the responsible clinician has answered"
FOR_MANAGER = ("ask-maker", "decide")


def line(step: Finding) -> str:
    """A step as one line: what to do, then the command after the last colon."""
    return f"{step.what}: {step.todo}" if step.todo else step.what


def fault_plan(conn: Link, rule: Rules, f: FridgeNow, as_of: int) -> tuple[Finding, ...]:
    """The steps for one fridge as it stands at an instant; empty where nothing waits for a person."""
    faults = faults_of(conn, f, as_of)
    refuge = refuge_for(conn, rule, f.fridge.name, f.fridge.site, as_of) if out_now(f) and f.pieces else None
    return steps(f, faults, refuge, rule, as_of)


def steps(f: FridgeNow, faults: Sequence[Fault], refuge: Refuge | None, rule: Rules, now: int) -> tuple[Finding, ...]:
    """The steps, from values alone: a fridge, its events, where its stock can go, the rules (names, the time zone)."""
    found = _leave(f, faults, inside=refuge is not None)
    if out_now(f):
        what = f"look at the door, the plug and the thermostat of {f.fridge.name}; log again in 30 minutes"
        found.append(Finding("out-of-range", what, check_by_hand(f.fridge), urgent=True))
    if refuge is not None:
        found.append(_move(f, refuge))
    found += _look_by_hand(f, faults, rule, now)
    quiet = [fault for fault in faults if fault.quiet]
    quiet = quiet[-NOTED:] if len(quiet) > 1 else []
    set_aside = {fault.first.number for fault in quiet}
    shown, rest = foremost([(fault.first, []) for fault in faults if fault.first.number not in set_aside])
    numbers = {e.number for e, _ in shown}
    for fault in faults:
        if fault.first.number in numbers:
            found += _ask(fault, rule, now)
            found.append(_decide(f, fault))
            found += _elsewhere(fault)
    if quiet:
        found.append(_noted(f, quiet))
    if rest:
        what = f"then go on with {_others(rest)} in {f.fridge.name}"
        found.append(Finding("decide", what, "stockroom fridge check", urgent=True))
    return tuple(found)


NOTED = 12
"""Excursions that touched nothing are noted in one command, so many at a time."""


def _noted(f: FridgeNow, quiet: Sequence[Fault]) -> Finding:
    names = [f"E-{fault.first.number}" for fault in quiet]
    what = f"note that {', '.join(names)} touched no stock in {f.fridge.name}"
    return Finding(
        "decide", what, f"stockroom fridge decide {' '.join(names)} --release --why … --by INITIALS", urgent=True
    )


def _others(rest: Sequence[ExcursionNow]) -> str:
    return f"the {len(rest)} others that wait ({few([f'E-{e.number}' for e in rest])})"


def check_by_hand(fridge: Fridge) -> str:
    """The command for one check by hand."""
    return f"stockroom fridge log CELSIUS --min X --max Y --fridge {quoted(fridge.name)}"


def _leave(f: FridgeNow, faults: Sequence[Fault], *, inside: bool) -> list[Finding]:
    """Do not use it: what is inside while it lasts, what is held wherever it stands now, and what is used already."""
    held: dict[tuple[str, str, str], int] = {}
    for fault in faults:
        for key, n in fault.touched.held.items():
            held[key] = max(n, held.get(key, 0))
    what = []
    # An allowance that time or late data has used up is open with nothing held yet: its lots are named all the same.
    open_ones = [x for x in faults if not (x.answered or x.touched.held or x.touched.used)]
    loose = list(dict.fromkeys(f"{n} x {p} lot {x}" for fault in open_ones for p, x, n in fault.first.lots))
    if inside and faults:
        what.append(f"what is in {f.fridge.name}")
    away = [f"{n} x {p} lot {x} in {_place(spot)}" for (p, x, spot), n in sorted(held.items())]
    if away:
        what.append(f"what it touched: {', '.join(away)};")
    if loose:
        what.append(f"what it touched, wherever it is now: {', '.join(loose)};")
    found = []
    if what:
        start = "do not use " if inside else f"{f.fridge.name}: do not use "
        text = f"{start}{', nor '.join(what)} {ANSWERED}".replace("; until", ", until")
        found.append(Finding("do-not-use", text, urgent=True))
    return found + _used(faults)


USED = 8
"""Lots of which pieces were used that are told of one by one."""


def _used(faults: Sequence[Fault]) -> list[Finding]:
    """Pieces that were used before anybody knew, by lot: the newest event first."""
    pieces: dict[tuple[str, str], int] = {}
    numbers: dict[tuple[str, str], list[str]] = {}
    for fault in reversed(faults):
        for key, n in fault.touched.used.items():
            pieces[key] = max(n, pieces.get(key, 0))
            numbers.setdefault(key, []).append(f"E-{fault.first.number}")
    tell = "tell the responsible clinician"
    found = []
    for (product, lot), n in list(pieces.items())[:USED]:
        was = "was" if n == 1 else "were"
        text = f"{n} x {product} lot {lot} of {few(numbers[product, lot], 3)} {was} used already: {tell}"
        found.append(Finding("do-not-use", text, f"stockroom trace lot {product} {quoted_lot(lot)}", urgent=True))
    rest = list(pieces)[USED:]
    if rest:
        listed = few([f"{product} lot {lot}" for product, lot in rest], 8)
        found.append(Finding("do-not-use", f"pieces of {listed} were used already as well: {tell}", urgent=True))
    return found


def _place(spot: str) -> str:
    return f"{spot} (out of the fridge)" if spot.startswith("P-") else spot


def _move(f: FridgeNow, refuge: Refuge) -> Finding:
    todo = move_all_command(f.fridge.name, refuge.place)
    those = "the piece" if f.pieces == 1 else f"the {f.pieces} pieces"
    if not refuge.fridge:
        why = f" ({'; '.join(refuge.refused)})" if refuge.refused else ""
        what = (
            f"move {those} out of {f.fridge.name} into a cold box now, as no other fridge here can take them{why}. "
            "A box that the practice file does not know is unmonitored, and every minute there counts as unmonitored"
        )
        return Finding("move-stock", what, todo, urgent=True)
    what = f"move {those} out of {f.fridge.name} to {refuge.place} now{refuge.room}"
    if refuge.unseen:
        what += ", but look at its display first: nobody knows how cold it is"
    return Finding("move-stock", what, todo, urgent=True)


def _look_by_hand(f: FridgeNow, faults: Sequence[Fault], rule: Rules, now: int) -> list[Finding]:
    name = f.fridge.name
    if f.silent is not None:
        since = local_text(f.silent.start, rule.zone, now)
        what = f"the logger of {name} is silent since {since}: nobody knows how cold it is; check by hand"
    elif any(fault.first.source == "gap" for fault in faults):
        what = f"check {name} by hand, with min and max: nobody knows how cold it was while its logger was silent"
    else:
        return _still_open(f)
    return [Finding("silent", what, check_by_hand(f.fridge), urgent=True)]


def _still_open(f: FridgeNow) -> list[Finding]:
    """By one kind of reading it is over, by the other not yet: ask for the other."""
    lasting = [e for e in f.excursions if e.open and e.lasts]
    if not lasting or f.off or out_now(f):
        return []
    name = f.fridge.name
    if any(e.source == "hand" for e in lasting):
        what = f"check {name} by hand again: its logger is back in range, its last check by hand was not"
        return [Finding("silent", what, check_by_hand(f.fridge), urgent=True)]
    what = f"read the logger of {name} out: by hand it is back in range, by its last reading it is not"
    return [Finding("silent", what, f"stockroom fridge import FILE.csv --fridge {quoted(name)}", urgent=True)]


def _ask(fault: Fault, rule: Rules, now: int) -> list[Finding]:
    """Who to ask about which lots, and what to tell them."""
    e = fault.first
    if e.event is None:
        return []
    held = {(p, x) for p, x, _ in fault.touched.held}
    # After a decision about a part only the rest is still asked about.
    asked = [(p, x, q) for p, x, q in e.lots if not fault.answered or (p, x) in held]
    found = []
    for code in dict.fromkeys(p for p, _, _ in asked):
        records = [r for r in fault.records if any(p == code for p, _, _ in r.lots)] or [e]
        known = rule.practice.product(code)
        name = f"{known.name} ({code})" if known and known.name != code else code
        lots = [f"{x} ({count(q, 'piece')})" for p, x, q in asked if p == code]
        what = f"ask the maker of {name} about lot{'s' if len(lots) > 1 else ''} {', '.join(lots)}"
        found.append(Finding("ask-maker", f"{what}. Say: {_told(records, rule, now)}", urgent=True))
    return found


def _told(records: Sequence[ExcursionNow], rule: Rules, now: int) -> str:
    """The figures of each record: those of a logger and of a check by hand differ, and the worse one holds."""
    ordered = sorted(records, key=lambda x: (x.source != "logger", -abs((x.event and x.event.extreme) or 0)))
    told: dict[str, str] = {}
    for x in ordered:
        told.setdefault(x.source, _figures(x, rule, now))
    return "; ".join(told.values())


def _figures(e: ExcursionNow, rule: Rules, now: int) -> str:
    v = e.event
    if v is None:
        return "of one record no reading tells any more"
    since = local_text(v.start, rule.zone, now)
    longest = None if v.minutes_at_most is None else length(v.minutes_at_most * 60)
    if e.source == "gap":
        return f"nobody measured it from {since} on, for {longest}"
    side = f"{'above' if e.direction == 'warm' else 'below'} its limit of {degrees(e.limit)}"
    worst = f"worst {degrees(v.extreme)}"
    if e.source == "hand":
        known = longest or (length(now - v.start) if v.start < v.first_out else None)
        how_long = "how long is not known" if known is None else f"at most {known}"
        over = ", not over" if e.lasts else ""
        when = f"at {since}" if v.start == v.first_out else f"at some time since {since}"
        return f"seen by hand: {side} {when}{over}, {how_long}, {worst}"
    how_long = f"not over, {length(now - v.start)} so far" if v.end is None else f"at most {longest}"
    return f"{side} from {since}, {how_long}, {worst}"


def _decide(f: FridgeNow, fault: Fault) -> Finding:
    e = fault.first
    also = [f"E-{x.number}" for x in fault.records[1:]]
    what = f"decide about E-{e.number}" + (f" (the same event: {', '.join(also)})" if also else "")
    what += f" in {f.fridge.name}"
    answer = " --answer …" if e.lots else ""
    if e.event is None:
        are = "piece is" if e.held == 1 else "pieces are"
        what = f"then {what}: no reading supports it any more, and {e.held} {are} still held for it"
    elif not e.lots:
        what += ": no stock was touched"
    else:
        lasts = any(x.lasts and not over(f, x) for x in fault.records)
        what = ("once it is over and you have the answer, " if lasts else "then ") + what
        what += f", {count(e.held, 'piece')} held" if e.held else ""
    if e.reopened:
        what += "; late data changed it after it was decided"
    todo = f"stockroom fridge decide E-{e.number} --release|--discard --why …{answer} --by INITIALS"
    return Finding("decide", what, todo, urgent=True)


def _elsewhere(fault: Fault) -> list[Finding]:
    """A hold that a later entry no longer supports: it stays until a person ends it, in one step."""
    number = fault.first.number
    found = []
    for (product, lot, place), n in sorted(fault.touched.elsewhere.items()):
        was = "was" if n == 1 else "were"
        what = f"{n} x {product} lot {lot} in {place} {was} elsewhere during E-{number} by a later entry: end that hold"
        todo = (
            f"stockroom stock release {product} {quoted_lot(lot)} --place {quoted(place)} --quantity {n} "
            f"--excursion E-{number} --why … --by INITIALS"
        )
        found.append(Finding("decide", what, todo, urgent=True))
    return found
