"""What is kept beside the readings, made anew or compared with what they say."""

from collections.abc import Callable, Sequence

from stockroom.core.days import DAY, Day
from stockroom.core.excursions import Found
from stockroom.core.units import degrees
from stockroom.store import Link, derived, fridges, ledger
from stockroom.store.derived import Scan
from stockroom.store.engine import Store
from stockroom.tasks.bring_forward import disagreements, page_anew
from stockroom.tasks.derive import ALWAYS, computed, ensured
from stockroom.tasks.rules import spans
from stockroom.tasks.shelves import stood
from stockroom.tasks.stretch import Stretch
from stockroom.tasks.sum_days import summed
from stockroom.tasks.watch import GAP, Span


def _fridges(conn: Link) -> list[tuple[str, int]]:
    """(name, key) of every fridge that ever had readings, stock or checks."""
    fridges = [name for name, kind in ledger.place_kinds(conn).items() if kind == "fridge"]
    return [(name, key) for name in fridges if (key := ledger.place_key(conn, name)) is not None]


def rebuilt(store: Store, advance: Callable[[str, int, int], None]) -> int:
    """Makes everything that is derived from the readings anew; returns for how many fridges."""
    with store.deriving() as conn:
        return derived_anew(conn, advance)


def derived_anew(conn: Link, advance: Callable[[str, int, int], None]) -> int:
    """The same in a transaction that writes, and that somebody else ends."""
    found = _fridges(conn)
    derived.keep_spans_anew(conn)
    for done, (name, key) in enumerate(found):
        advance(f"reading {name}", done, len(found))
        derived.forget(conn, key)
        ensured(conn, key, name, spans(conn), stood(conn, name))
    page_anew(conn, whole=True)
    return len(found)


def missing(conn: Link) -> bool:
    """True where a fridge has readings and nothing is kept for it: an upgrade was interrupted before its end."""
    return any(
        not derived.scans(conn, key) and fridges.last_reading(conn, key) is not None for _, key in _fridges(conn)
    )


def faults(conn: Link, advance: Callable[[str, int, int], None]) -> list[str]:
    """What is kept and does not fit the readings, in words; empty where all of it does."""
    out = [] if derived.spans_fit(conn) else ["which entry brought which readings is not as the readings say"]
    found = _fridges(conn)
    for done, (name, key) in enumerate(found):
        advance(f"checking {name}", done, len(found))
        at, milli = fridges.series(conn, key)
        whole = Stretch(conn, key, at, milli, None, None)
        rows = derived.spells(conn, key)
        for scan in derived.scans(conn, key).values():
            anew, old = computed(conn, key, scan, whole), rows.pop(scan.key, [])
            if _since(anew, scan) != _since(old, scan):
                line = "silences" if scan.direction == GAP else f"spells {scan.direction} of {degrees(scan.limit)}"
                out.append(f"{name}: the {line} that are kept are not as the readings say")
        if rows:
            out.append(f"{name}: spells are kept for a line that nobody watches")
        anew_days = _days_anew(whole, name, spans(conn)) if at.size else {}
        if any(anew_days.get(number) != day for number, day in _kept_days(conn, key).items()):
            out.append(f"{name}: the days summed up are not as the readings say")
    return out + disagreements(conn)


def _since(found: Sequence[Found], scan: Scan) -> list[Found]:
    return [f for f in found if f.spell.last_out >= scan.since]


def _kept_days(conn: Link, key: int) -> dict[int, tuple[Day, int]]:
    return {d.number: (d, gap) for d, gap in derived.days(conn, key, *ALWAYS)}


def _days_anew(whole: Stretch, name: str, rule_spans: Sequence[Span]) -> dict[int, tuple[Day, int]]:
    first, last = int(whole.at[0]) // DAY, int(whole.at[-1]) // DAY
    return {d.number: (d, gap) for found, gap, _, _ in summed(whole, name, rule_spans, first, last) for d in found}
