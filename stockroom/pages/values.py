"""What every JSON answer is made of: instants, and the answer of a command that recorded something."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from stockroom.core.when import utc_text

if TYPE_CHECKING:
    from stockroom.tasks.act import Recorded


def instant(at: int | None) -> str | None:
    """``2026-03-02T08:10:00Z``, or null."""
    return None if at is None else utc_text(at)


def recorded_answer(result: Recorded) -> dict[str, Any]:
    """What was recorded, its id, and what to know about it."""
    return {
        "entry": result.entry,
        "what": result.what,
        **result.fields,
        "warnings": [f.what for f in result.findings if f.urgent],
        "notes": [f.what for f in result.findings if not f.urgent],
    }


def shown(text: str) -> str:
    """Text without control characters: a terminal would obey them, and an XML file may not hold them."""
    return "".join(c if c.isprintable() else " " for c in text)
