"""Take-out reminders -> a calendar file (published: RFC 5545), and the JSON answer of the command that writes it."""

from __future__ import annotations

from collections import Counter
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from stockroom.core.when import local_text
from stockroom.pages.values import instant, shown

if TYPE_CHECKING:
    from icalendar import Alarm, Event

    from stockroom.tasks.take_out_calendar import TakeOutCalendar, TakeOutEvent

PRODID = "-//stockroom//take-out reminders//EN"
MINUTES = 10
"""How long taking a kit out is shown to last."""


def calendar_text(made: TakeOutCalendar, alarm: int) -> str:
    """The file. Times are UTC; the alarm is so many minutes of elapsed time before, never a nominal day."""
    from icalendar import Calendar, Timezone, TimezoneStandard

    calendar = Calendar()
    calendar.add("prodid", PRODID)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    for event in made.events:
        calendar.add_component(_event(made, event, alarm))
    if not made.events:
        # A calendar needs a component (3.6): with no event it says at least in which clock there is none.
        zone, standard = Timezone(), TimezoneStandard()
        zone.add("tzid", "UTC")
        standard.add("dtstart", datetime(1970, 1, 1))  # noqa: DTZ001 (a zone's onset is a clock's face)
        standard.add("tzoffsetfrom", timedelta(0))
        standard.add("tzoffsetto", timedelta(0))
        zone.add_component(standard)
        calendar.add_component(zone)
    return str(calendar.to_ical().decode("utf-8"))


def _event(made: TakeOutCalendar, event: TakeOutEvent, alarm: int) -> Event:
    from icalendar import Event

    found = Event()
    found.add("uid", event.uid)
    found.add("sequence", event.sequence)
    found.add("dtstamp", _utc(made.as_of))
    found.add("dtstart", _utc(event.at))
    found.add("dtend", _utc(event.at + 60 * MINUTES))
    found.add("status", "CANCELLED" if event.cancelled else "CONFIRMED")
    found.add("class", "PRIVATE")
    found.add("transp", "TRANSPARENT")
    found.add("summary", summary(event))
    if not event.cancelled:
        found.add("description", _description(made, event))
        found.add("location", ", ".join(dict.fromkeys(shown(r.place or "") for r in event.rows)))
        found.add_component(_alarm(event, alarm))
    return found


def summary(event: TakeOutEvent) -> str:
    """Which kits of which lot out of which fridge for which booking."""
    if event.cancelled:
        return f"No take-out: {shown(event.product)} for B-{event.booking}"
    kits = Counter((shown(r.lot or "?"), shown(r.place or "?")) for r in event.rows)
    listed = " and ".join(f"{n} {shown(event.product)}, lot {lot}, from {place}" for (lot, place), n in kits.items())
    return f"Take out {listed}, for B-{event.booking}"


def _description(made: TakeOutCalendar, event: TakeOutEvent) -> str:
    zone, row = ZoneInfo(made.zone), event.rows[0]
    lines = [
        f"Out by {local_text(event.at, zone)} for B-{event.booking} ({shown(row.procedure)}), "
        f"which starts {local_text(row.start, zone)}.",
        f"Then type: stockroom warmup pull B-{event.booking}",
        *(shown(c) for c in event.cautions),
    ]
    if row.take_out_from is not None:
        lines.insert(1, f"Not before {local_text(row.take_out_from, zone)}.")
    if event.patient is not None:
        lines.insert(1, f"Patient code: {shown(event.patient)}")
    return "\n".join(lines)


def _alarm(event: TakeOutEvent, minutes: int) -> Alarm:
    from icalendar import Alarm, vDuration

    class Minutes(vDuration):
        """Elapsed time. A length that is written in days is nominal: over a clock change a day has 23 or 25 hours."""

        def to_ical(self) -> bytes:
            return f"-PT{minutes}M".encode()

    found = Alarm()
    found.add("action", "DISPLAY")
    found.add("description", summary(event))
    found["trigger"] = Minutes(timedelta(minutes=-minutes))
    return found


def _utc(at: int) -> datetime:
    return datetime.fromtimestamp(at, UTC)


def calendar_answer(made: TakeOutCalendar, out: str) -> dict[str, Any]:
    """What was written, event by event."""
    return {
        "as_of": instant(made.as_of),
        "file": out,
        "events": [
            {
                "uid": e.uid, "sequence": e.sequence, "booking": f"B-{e.booking}", "product": e.product,
                "at": instant(e.at), "quantity": len(e.rows), "cancelled": e.cancelled, "summary": summary(e),
            }
            for e in made.events
        ],
    }  # fmt: skip
