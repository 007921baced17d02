"""How a rehearsal looks on the screen: what was played, a row for each target, whether the correction pays."""

import math

from stockroom.cli.show import Screen
from stockroom.core.bands import Band
from stockroom.core.units import count, quoted_lot
from stockroom.tasks.rehearse import NOT_PLAYED, Figures, Outcome, Rehearsal, SiteRehearsal


def draw_rehearsal(screen: Screen, found: Rehearsal) -> None:
    """A part for each site, then what the columns say, what is not in it and how to set a target."""
    for s in found.sites:
        screen.heading((f"{s.site}, " if s.site else "") + _title(found, s))
        _played(screen, found, s)
        head = ["target", "any short", "short", "served", "wasted", *_money_head(found), "most"]
        rows = [_row(o, found, s) for o in s.outcomes]
        screen.table(head, rows, right=tuple(range(len(head))))
        _now(screen, found, s)
        _correction(screen, s)
        screen.line()
    for said in _legend(found):
        screen.note(said)
    target = next((s.target for s in found.sites), 0)
    screen.todo(
        f"another target than {target:g}: stockroom practice target {quoted_lot(found.product.code)} 0.… --why …"
    )


def _title(found: Rehearsal, s: SiteRehearsal) -> str:
    return f"{found.product.code}  {found.product.name}, from {s.supplier.name}"


def _played(screen: Screen, found: Rehearsal, s: SiteRehearsal) -> None:
    screen.note(
        f"{found.weeks} weeks from today, {found.runs:,} runs, seed {found.seed}; {count(s.orders, 'order')} in each run"
    )
    if s.weeks_of_history is None:
        source = (
            "what the practice file expects, by chance (Poisson), for there are fewer than 8 weeks of use on record"
        )
    else:
        blocks = f", {s.block} neighbours at a time" if s.block > 1 else ""
        source = f"your own last {s.weeks_of_history} weeks, drawn again and again{blocks}"
    screen.note(f"demand: {source}; {s.per_week:.1f} a week")
    if s.record is not None:
        screen.note(f"lead times: as on record, {s.record.words}")
    held = f"; {s.held} held and left out" if s.held else ""
    room = "" if s.room is None else f"; room for {s.room}"
    screen.note(
        f"at the beginning: {s.stock} usable, {s.coming} on order{held}{room}; first order {s.now.first}, as listed now"
    )


def _money_head(found: Rehearsal) -> list[str]:
    return [] if found.piece_price is None else ["worth", "tied up"]


def _row(o: Outcome, found: Rehearsal, s: SiteRehearsal) -> list[str]:
    f, price, space = o.figures, found.piece_price, found.product.space if found.product.cold else 1
    money = [] if price is None else [_about(band.scaled(float(price)), 0) for band in (f.wasted, f.stock)]
    return [
        ("now " if o.target == s.target else "") + f"{100 * o.target:g} %",
        "-" if f.shortage is None else _about(f.shortage.scaled(100), 1) + " %",
        _about(f.short, 1),
        _served(f.fill),
        _about(f.wasted, 1),
        *money,
        _about(f.peak.scaled(space), 0),
    ]


def _about(band: Band, digits: int) -> str:
    """The mean, and the wider half of its band where that shows; what is rare never reads as if it could not be."""
    least = 10.0**-digits
    wide = max(band.high - band.mean, band.mean - band.low)
    if band.mean < least / 2:
        return "0" if band.high == 0 else f"<{max(least, math.ceil(band.high / least) * least):.{digits}f}"
    return f"{band.mean:.{digits}f}" + (f"±{wide:.{digits}f}" if wide >= least / 2 else "")


def _served(fill: Band) -> str:
    """Cut, not rounded: what is not all of it must not read as 100 %."""
    return f"{math.floor(10_000 * fill.mean + 1e-6) / 100:.2f} %"


def _now(screen: Screen, found: Rehearsal, s: SiteRehearsal) -> None:
    """What single runs may bring under the target that holds now."""
    f = s.now.figures
    per = "years" if found.weeks == 52 else f"spans of {found.weeks} weeks, as a year"
    screen.note(
        f"At {100 * s.target:g} %, in nine of ten {per}: {f.short.run_low:.0f} to {f.short.run_high:.0f} short, "
        f"{f.wasted.run_low:.0f} to {f.wasted.run_high:.0f} wasted."
    )


def _correction(screen: Screen, s: SiteRehearsal) -> None:
    """What the waste correction of the order list does here."""
    what = "The order list leaves out stock that will expire before it can be used (waste correction)"
    if s.correction == "idle":
        screen.note(f"{what}; here that changes nothing.")
        return
    screen.note(
        what
        + {
            "pays": ". It pays here: less is wasted for the same service.",
            "costs": ". It costs here: without it, at a higher target, less would be wasted for the same service.",
            "open": "; whether that pays here cannot be told from these runs.",
        }[s.correction]
    )
    for o in s.outcomes:
        if o.uncorrected is not None and (o.saved is not None or o is s.now):
            screen.note(f"  {100 * o.target:g} %: {_likened(o, o.uncorrected)}")


def _likened(o: Outcome, without: Figures) -> str:
    said = f"served {_served(o.figures.fill)} instead of {_served(without.fill)}, "
    said += f"wasted {o.figures.wasted.mean:.1f} instead of {without.wasted.mean:.1f}"
    if o.saved is not None:
        said += f"; for the same service {o.saved.mean:+.1f} saved a year ({o.saved.low:+.1f} to {o.saved.high:+.1f})"
    return said


def _legend(found: Rehearsal) -> list[str]:
    aim = "no shortage until the next order can be used" if found.target_kind == "cycle" else "demand served from stock"
    worth = (
        f"worth: of what is wasted, {found.currency} a year; tied up: stock on an average day; "
        if found.piece_price
        else ""
    )
    most = "space taken in the fridges" if found.product.cold else "pieces there"
    return [
        f"target: {aim}; any short: chance of a shortage between two deliveries; short, wasted: pieces a year; "
        f"served: of demand; {worth}most: {most} at once; ±: 95 % band of the mean",
        f"Not played: {'; '.join(NOT_PLAYED)}. "
        "The bands say how sure the mean of these runs is, not that the time ahead will be like the past.",
    ]
