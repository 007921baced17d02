"""What goes onto paper beside the fridge: what to take out on a day, and what to stick onto each kit that is out."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from stockroom.core.kit_mark import mark
from stockroom.core.records import Pull
from stockroom.core.warmup import Row, ready_at, use_by
from stockroom.errors import Refused
from stockroom.store import Link, ledger
from stockroom.tasks.places import pull_number
from stockroom.tasks.rules import Rules
from stockroom.tasks.shelves import lots_there, pulls_there
from stockroom.tasks.warm_plan import kit_out, warm_plan


@dataclass(frozen=True, slots=True)
class ToTake:
    """One kit to take out: its row of the plan, and the last day of its lot."""

    row: Row
    expiry: date | None


@dataclass(frozen=True, slots=True)
class DoorList:
    """What to take out on a day, in order of time; ``words`` are the products' own cautions."""

    as_of: int
    day: date
    practice: str
    take: tuple[ToTake, ...]
    words: tuple[str, ...]


def door_list(conn: Link, rule: Rules, at: int, day: date, site: str | None) -> DoorList:
    """Rows of the plan whose kit has to leave the fridge on a day."""
    made = warm_plan(conn, at, site=site, rule=rule)
    opening = rule.opening(rule.sites(site)[0])
    start, end = opening.midnight(day), opening.midnight(day + timedelta(days=1))
    rows = [
        r
        for r in made.rows
        if r.pull is None and r.take_out_staffed_by is not None and start <= r.take_out_staffed_by < end
        and r.state in ("due", "planned")
    ]  # fmt: skip
    rows.sort(key=lambda r: (r.take_out_staffed_by or 0, r.start, r.booking))
    expiry = {(x.product, x.code): x.expiry for x in ledger.lots(conn).values()}
    take = tuple(ToTake(r, expiry.get((r.product, r.lot or ""))) for r in rows)
    return DoorList(at, day, rule.practice.name, take, tuple(_words(rule, [r.product for r in rows])))


def _words(rule: Rules, products: Sequence[str]) -> list[str]:
    known = {p.code: p.caution for p in rule.practice.products}
    return [f"{code}: {text}" for code in dict.fromkeys(products) for text in known.get(code, ())]


@dataclass(frozen=True, slots=True)
class Label:
    """What stands on the label of a kit that is out. ``mark`` is the text of its square code."""

    pull: Pull
    lot: str
    expiry: date | None
    ready_at: int
    use_by: int | None
    held: bool
    """True where it is in quarantine or has expired: it may not be used."""
    words: tuple[str, ...]
    """The product's own cautions."""

    @property
    def mark(self) -> str:
        """The text of the square code."""
        return mark(self.pull.number, self.lot)


def labels(
    conn: Link, rule: Rules, at: int, named: Sequence[str], day: date | None, site: str | None
) -> tuple[Label, ...]:
    """Labels of the kits that were named, or of all that are out, or left the fridge on a day and still are out.

    Raises: Refused for a kit that is not out.
    """
    found = {label.pull.number: label for label in _out(conn, rule, at, rule.sites(site))}
    if not named:
        opening = rule.opening(rule.sites(site)[0])
        return tuple(x for x in found.values() if day is None or opening.day(x.pull.at) == day)
    chosen = []
    for text in named:
        label = found.get(pull_number(conn, text) or 0)
        if label is None:
            raise Refused("not-out", f'there is no kit "{text}" out of the fridge', "see: stockroom stock list")
        chosen.append(label)
    return tuple(dict.fromkeys(chosen))


def _out(conn: Link, rule: Rules, at: int, sites: Sequence[str]) -> list[Label]:
    lots = lots_there(conn, at)
    made = []
    for pull in pulls_there(conn, at).values():
        now, product = lots.get(pull.lot), rule.practice.product(pull.product)
        site = rule.practice.site_of(pull.source)
        site = pull.site if site is None else site
        if now is None or product is None or site not in sites or not now.state.quantity(pull.place):
            continue
        kit = kit_out(rule, pull, now, site)
        held = any(p.held for p in now.state.at(pull.place)) or now.expired(rule.opening(site).day(at))
        times = (ready_at(kit, product), use_by(kit, product))
        made.append(Label(pull, now.lot.code, now.lot.expiry, *times, held, product.caution))
    return made
