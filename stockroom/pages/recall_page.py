"""A recall as JSON, and as the sheet that is filed: the notice, every lot with its storage, what was done, the answer."""

from typing import Any
from zoneinfo import ZoneInfo

from stockroom.core.units import degrees, length
from stockroom.core.when import day_text, local_text
from stockroom.pages.answers import lot_trace_answer
from stockroom.pages.paper import rendered
from stockroom.pages.values import instant, recorded_answer, shown
from stockroom.tasks.act import CAUTIONS, Recorded
from stockroom.tasks.recall import Recall, Recalled


def recall_answer(found: Recall, recorded: Recorded | None, file: str | None) -> dict[str, Any]:
    """``recall``; with ``--hold`` what was recorded comes first."""
    return {
        **({} if recorded is None else recorded_answer(recorded)),
        "as_of": instant(found.as_of),
        "attention": int(found.attention or (recorded is not None and recorded.attention)),
        "product": found.notice.product,
        "notice": found.notice.text,
        "file": file,
        "lots": [
            {
                **lot_trace_answer(x.trace),
                "here": [{"place": place, "quantity": n, "held": held} for place, n, held in x.here],
                "done": [
                    {"entry": f"R-{s.entry}", "at": instant(s.at), "by": s.by, "what": s.what, "quantity": s.quantity, "why": s.why}
                    for s in x.steps
                ],
            }
            for x in found.lots
        ],
        "absent": [{"lot": code, "alike": list(alike)} for code, alike in found.absent],
        "totals": found.totals,
        "not_held": found.loose,
    }  # fmt: skip


def recall_html(found: Recall, zone: ZoneInfo) -> str:
    """The sheet, as an HTML file that prints on A4."""
    total = found.totals
    return rendered(
        "recall.html",
        title=f"Recall: {shown(found.notice.product)} {shown(found.name)}".rstrip(),
        practice=shown(found.practice),
        as_of=local_text(found.as_of, zone),
        notice=shown(found.notice.text or ""),
        lots=[_lot(x, zone) for x in found.lots],
        absent=[shown(code) for code, _ in found.absent],
        total=total,
        came=total["received"] + total["adjusted"],
        loose=found.loose,
        cautions=[*CAUTIONS, *map(shown, found.cautions)],
    )


def _lot(one: Recalled, zone: ZoneInfo) -> dict[str, Any]:
    t = one.trace
    return {
        "code": shown(t.lot.code),
        "expiry": "not known" if t.lot.expiry is None else day_text(t.lot.expiry),
        "sums": [(name.replace("_", " "), getattr(t, name)) for name in
                 ("received", "adjusted", "on_hand", "out", "used", "discarded", "returned", "unaccounted")],
        "difference": t.difference,
        "here": [(shown(place), n, held) for place, n, held in one.here],
        "used": [(f"B-{r.booking}", shown(r.patient), local_text(r.at, zone), r.quantity) for r in t.reached],
        "stays": [
            (shown(place), n, local_text(a, zone), "still there" if b is None else local_text(b, zone))
            for place, a, b, n in t.stays
        ],
        "storage": _storage(one),
        "steps": [(local_text(s.at, zone), s.by, s.quantity, s.what, shown(s.why), f"R-{s.entry}") for s in one.steps],
    }  # fmt: skip


def _storage(one: Recalled) -> str:
    x = one.trace.exposure
    times = [
        f"{length(seconds) if seconds else '0 min'} {what}"
        for seconds, what in (
            (x.seconds_warm, "measured too warm"), (x.seconds_cold, "measured too cold"), (x.seconds_unmonitored, "unmonitored"),
        )
    ]  # fmt: skip
    text = f"{', '.join(times)}; lowest {degrees(x.min_milli)}, highest {degrees(x.max_milli)}"
    if x.mkt_celsius is not None:
        text += f"; mean kinetic temperature {x.mkt_celsius:.2f} °C (information only, it cannot see freezing)"
    if one.trace.opening:
        text += "; it was there on the first day: what it went through before is not known"
    return text
