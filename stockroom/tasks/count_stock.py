"""The stocktake: what was counted in a place against what is on record there."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from stockroom.core.stock import LotState
from stockroom.core.units import count
from stockroom.errors import Refused
from stockroom.formats.stock_csv import read_count
from stockroom.store import ledger
from stockroom.store.engine import Store
from stockroom.tasks.act import Act, Recorded, Recording, recording
from stockroom.tasks.broken_plan import sites_of, telling_broken
from stockroom.tasks.places import code_named, key_of, known_place
from stockroom.tasks.shelves import lots_now, lots_there


@dataclass(frozen=True, slots=True)
class Counted:
    """One line of a stocktake."""

    product: str
    lot: str
    quantity: int
    why: str | None = None


def counted_from(data: bytes, name: str) -> list[Counted]:
    """The lines of a stocktake file. Raises: Refused where any cannot be read."""
    read = read_count(data, name)
    if read.rejected:
        listed = "; ".join(f"line {r.line}: {r.why}" for r in read.rejected[:8])
        raise Refused("bad-file", f"{name}: {listed}", "mend these lines; nothing was recorded")
    return [Counted(r.product, r.lot, r.quantity, r.why) for r in read.rows]


def recorded_in(store: Store, place: str, at: int) -> list[tuple[str, str, int]]:
    """(product, lot, pieces) that the record has in a place, to be asked about one by one."""
    with store.reading() as conn:
        lots = lots_there(conn, at)
    return [(x.lot.product, x.lot.code, x.state.quantity(place)) for x in lots.values() if _on_record(x.state, place)]


def _on_record(state: LotState, place: str) -> bool:
    return bool(state.quantity(place) or state.short.get(place, 0))


def stocktake(
    store: Store, act: Act, place: str, lines: Sequence[Counted] | Callable[[str], Sequence[Counted]], why: str
) -> Recorded:
    """Records every difference between count and record; a lot that was not counted is named and left as it is.

    Raises: Refused for unknown names.
    """
    with recording(store, act, "count") as rec:
        spot = known_place(rec.conn, rec.rules.practice, place)
        counts = lines(spot) if callable(lines) else lines
        differences = []
        seen: set[int] = set()
        products = {p.code for p in rec.rules.practice.products} if rec.rules.practice.fridge(spot) else set()
        with telling_broken(rec, products, sites_of(rec, {spot})) as broken:
            for line in counts:
                code = code_named(rec.conn, rec.rules.practice, line.product)
                key = ledger.lot_key(rec.book, code, line.lot)
                if key in seen:
                    raise Refused("counted-twice", f"lot {line.lot} of {code} stands in the count twice", "add them up")
                seen.add(key)
                now = lots_now(rec.conn, act.at, [key]).get(key)
                recorded = now.state.quantity(spot) - now.state.short.get(spot, 0) if now else 0
                if line.quantity != recorded:
                    _adjust(rec, key, spot, line.quantity - recorded, line.why or why)
                    row = {"product": code, "lot": line.lot, "recorded": recorded, "counted": line.quantity}
                    differences.append(row)
                    rec.note(
                        "count-differs", f"{code} lot {line.lot}: {recorded} on record, {line.quantity} counted",
                        urgent=line.quantity < recorded,
                    )  # fmt: skip
        _uncounted(rec, spot, seen)
        rec.touches(spot, act.at)
        rec.book.what = f"counted {spot}: {count(len(seen), 'lot')}, {count(len(differences), 'difference')} ({why})"
        rec.fields |= {"place": spot, "counted": len(seen), "differences": differences, "broken": broken}
    return rec.done()


def _adjust(rec: Recording, lot: int, place: str, more: int, why: str) -> None:
    outside, here = ledger.placed(rec.book, "adjusted", "outside"), key_of(rec, place)
    source, target = (outside, here) if more > 0 else (here, outside)
    ledger.moved(rec.book, lot, abs(more), source, target, "count", why=why)


def _uncounted(rec: Recording, place: str, seen: set[int]) -> None:
    for key, now in lots_there(rec.conn, rec.act.at).items():
        if key not in seen and now.state.quantity(place):
            rec.note(
                "not-counted",
                f"{now.lot.product} lot {now.lot.code}: {now.state.quantity(place)} on record, not in the count",
                "left as it is; if there are none, count them as 0",
                urgent=True,
            )
