"""A maker's notice: every piece of the lots that it names, where it is or went, held at once where that is wanted."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from stockroom.core.notice import Notice, lookalikes
from stockroom.core.records import Lot
from stockroom.core.units import count
from stockroom.store import Link, entries, ledger
from stockroom.store.engine import Store
from stockroom.tasks.act import Act, Recorded, Recording, cautions, recording
from stockroom.tasks.broken_plan import sites_of, telling_broken
from stockroom.tasks.places import code_named, key_of
from stockroom.tasks.rules import Rules, rules
from stockroom.tasks.shelves import LotNow, lots_now
from stockroom.tasks.trace import LotTrace, lot_story


@dataclass(frozen=True, slots=True)
class Step:
    """Something that was done about a lot: held, released, discarded or sent back."""

    entry: int
    at: int
    by: str
    what: str
    quantity: int
    why: str


@dataclass(frozen=True, slots=True)
class Recalled:
    """One lot that is meant. ``here`` are (place, pieces, of these held); kits that are out stand in a place of their own."""

    trace: LotTrace
    here: tuple[tuple[str, int, int], ...]
    steps: tuple[Step, ...]

    @property
    def loose(self) -> int:
        """Pieces in the practice that nobody has held."""
        return sum(n - held for _, n, held in self.here)


@dataclass(frozen=True, slots=True)
class Recall:
    """What a notice finds. ``absent`` are codes that were never here, with those on record that look like them."""

    as_of: int
    practice: str
    notice: Notice
    name: str
    lots: tuple[Recalled, ...]
    absent: tuple[tuple[str, tuple[str, ...]], ...]
    cautions: tuple[str, ...]

    @property
    def totals(self) -> dict[str, int]:
        """Pieces over all lots, by what became of them; ``difference`` is what does not add up."""
        names = ("received", "adjusted", "unaccounted", "used", "discarded", "returned", "on_hand", "out", "difference")
        return {name: sum(getattr(x.trace, name) for x in self.lots) for name in names}

    @property
    def loose(self) -> int:
        """Pieces in the practice that nobody has held."""
        return sum(x.loose for x in self.lots)

    @property
    def attention(self) -> bool:
        """True where pieces are free to be used, reached a patient, do not add up, or a code may be misread."""
        total = self.totals
        reached = any(x.trace.reached for x in self.lots)
        alike = any(names for _, names in self.absent)
        return bool(self.loose or reached or total["difference"] or total["unaccounted"] or alike)


def recall(store: Store, notice: Notice, as_of: int, site: str | None = None) -> Recall:
    """Finds all that a notice means, at an instant. Raises: Refused for an unknown product, or half a range."""
    with store.reading() as conn:
        return _found(conn, rules(conn, as_of), notice, as_of, site)


def recall_and_hold(store: Store, act: Act, notice: Notice) -> tuple[Recorded, Recall]:
    """The same, and every piece that is in the practice and not held yet is held for it, kits that are out included.

    Raises: Refused.
    """
    with recording(store, act, "recall") as rec:
        before = _found(rec.conn, rec.rules, notice, act.at, act.site)
        said = notice.text or "a maker's notice"
        places = {place for x in before.lots for place, _, _ in x.here}
        with telling_broken(rec, {before.notice.product}, sites_of(rec, places)) as broken:
            held = sum(_hold(rec, x, said) for x in before.lots)
        rec.fields |= {"broken": broken}
        lots = ", ".join(x.trace.lot.code for x in before.lots) or "none on record"
        rec.book.what = f"recall of {before.notice.product} lot {lots}: {count(held, 'piece')} held; {said}"
        if before.lots:
            cautions(rec, {before.notice.product})
        after = _found(rec.conn, rec.rules, notice, act.at, act.site)
    return rec.done(), after


def _hold(rec: Recording, one: Recalled, said: str) -> int:
    """Holds what of a lot is not held for this already. What another cause holds is held for this one too."""
    pieces = 0
    for place, n, _ in one.here:
        ledger.held(rec.book, one.trace.lot.key, key_of(rec, place), n, rec.act.at, rec.book.label, f"recall: {said}")
        pieces += n
    return pieces


def _found(conn: Link, rule: Rules, notice: Notice, as_of: int, site: str | None) -> Recall:
    code = code_named(conn, rule.practice, notice.product)
    notice = replace(notice, product=code).checked()
    known = ledger.lots(conn, code)
    meant = {key: lot for key, lot in known.items() if notice.means(lot)}
    states = {k: now for k, now in lots_now(conn, as_of, list(meant)).items() if now.state.totals}
    signed = {e.n: e.by for e in entries.entries(conn, until=as_of)}
    codes = [lot.code for key, lot in known.items() if key in states or key not in meant]
    absent = tuple((c, tuple(lookalikes(c, codes))) for c in notice.codes if c not in codes)
    product = rule.practice.product(code)
    return Recall(
        as_of, rule.practice.name, notice, product.name if product else "",
        tuple(_recalled(conn, rule, states[key], as_of, site, signed) for key in _by_expiry(meant) if key in states),
        absent, product.caution if product else (),
    )  # fmt: skip


def _by_expiry(lots: Mapping[int, Lot]) -> list[int]:
    return sorted(lots, key=lambda k: (str(lots[k].expiry), lots[k].code))


def _recalled(
    conn: Link, rule: Rules, now: LotNow, as_of: int, site: str | None, signed: Mapping[int, str]
) -> Recalled:
    pulls = {p.place: p.source for p in ledger.pulls(conn).values()}
    found: dict[str, tuple[int, int]] = {}
    for parcel in now.state.inside():
        if site is not None and rule.practice.site_of(pulls.get(parcel.place, parcel.place)) not in (None, site):
            continue
        n, held = found.get(parcel.place, (0, 0))
        found[parcel.place] = (n + parcel.quantity, held + (parcel.quantity if parcel.held else 0))
    here = tuple((place, n, held) for place, (n, held) in sorted(found.items()))
    return Recalled(lot_story(conn, now, as_of), here, tuple(_steps(now, as_of, signed)))


def _steps(now: LotNow, as_of: int, signed: Mapping[int, str]) -> Sequence[Step]:
    """What was done about it, in order."""
    done = [("held", h) for h in now.records.holds] + [("released", r) for r in now.records.releases]
    steps = [
        Step(x.entry, x.at, signed.get(x.entry, ""), what, x.quantity, x.why or "") for what, x in done if x.at <= as_of
    ]
    steps += [
        Step(m.entry, m.at, signed.get(m.entry, ""), m.target, m.quantity, m.why or "")
        for m in now.records.movements
        if m.at <= as_of and m.target in ("discarded", "returned")
    ]
    return sorted(steps, key=lambda s: (s.at, s.entry))
