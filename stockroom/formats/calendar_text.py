"""Bytes of a calendar file -> its parts and their lines (published: RFC 5545, 3.1, 3.4 and 3.6). Values stay text.

Each part is read by itself, so that a broken one costs nothing but itself.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from stockroom.errors import Refused
from stockroom.formats.table_text import plain_text, wide_encoding

OWN_UID = ".take-out.stockroom.invalid"
"""How the UIDs of this program's own reminders end: they are no bookings."""
MOST_PARTS = 50_000
_HEAD = re.compile(r'([A-Za-z0-9-]+)((?:;[A-Za-z0-9-]+=(?:"[^"]*"|[^";:,]*)(?:,(?:"[^"]*"|[^";:,]*))*)*):')


@dataclass(frozen=True, slots=True)
class Line:
    """One property: its name in capitals, its parameters by name in capitals, its value as written."""

    name: str
    value: str
    parameters: Mapping[str, str] = field(default_factory=dict)

    @property
    def text(self) -> str:
        """The value of a text property, its escapes undone."""
        return unescaped(self.value)

    @property
    def texts(self) -> list[str]:
        """The values of a text property with several."""
        return [unescaped(v).strip() for v in re.split(r"(?<!\\),", self.value)]


@dataclass(slots=True)
class Part:
    """A component: what it is called, its own properties, the METHOD of its calendar, and whether it was complete."""

    kind: str
    method: str = ""
    lines: list[Line] = field(default_factory=list)
    unread: list[str] = field(default_factory=list)
    below: "list[Part]" = field(default_factory=list)
    closed: bool = False

    def all(self, name: str) -> list[Line]:
        """Every property of that name."""
        return [line for line in self.lines if line.name == name]

    def first(self, name: str) -> Line | None:
        """The first property of that name."""
        return next((line for line in self.lines if line.name == name), None)

    def text(self, name: str) -> str:
        """The text of the first property of that name, empty where there is none."""
        line = self.first(name)
        return "" if line is None else line.text


def is_calendar(data: bytes) -> bool:
    """True for a file that begins like a calendar, whatever it is called."""
    start = data[:400].decode(wide_encoding(data) or "utf-8", "replace").lstrip("\ufeff \t\r\n")
    return start[:15].casefold() == "begin:vcalendar"


def parts(data: bytes, name: str) -> tuple[list[Part], tuple[str, ...], bool]:
    """The events and time zones of a file, what had to be done to read it, and whether it is cut off.

    Raises: Refused where it is no text, or has more parts than a practice can mean.
    """
    if wide_encoding(data) is None:
        # Lines are folded by bytes: a letter of several bytes may be cut in two.
        data = re.sub(rb"(?:\r\n|\n|\r)[ \t]", b"", data)
    text = plain_text(data, name)
    joined = re.sub(r"\r?\n[ \t]", "", text.data.decode("utf-8", "replace"))
    begun, ended = (len(re.findall(rf"(?im)^[ \t]*{word}:VCALENDAR\b", joined)) for word in ("BEGIN", "END"))
    found = list(_parts(joined))
    if len(found) > MOST_PARTS:
        raise Refused(
            "too-many-events", f"{name} has more than {MOST_PARTS} events", "export a shorter span of the calendar"
        )
    return found, text.notes, ended < begun


def _parts(text: str) -> Iterator[Part]:
    open_: list[Part] = []
    method = ""
    for raw in text.split("\n"):
        line = raw.rstrip("\r")
        word, _, what = line.partition(":")
        word, what = word.strip().upper(), what.strip().upper()
        if word == "BEGIN" and what in ("VEVENT", "VCALENDAR", "VTIMEZONE", "VTODO", "VJOURNAL") and open_:
            yield from _whole(open_)  # the one before was never closed
        if word == "BEGIN":
            method = "" if what == "VCALENDAR" else method
            if what != "VCALENDAR":
                part = Part(what, method)
                if open_:
                    open_[-1].below.append(part)
                open_.append(part)
        elif word == "END" and open_:
            while open_ and open_[-1].kind != what and len(open_) > 1:
                open_.pop()
            if open_[-1].kind == what:
                open_[-1].closed = True
            if len(open_) == 1:
                yield from _whole(open_)
            else:
                open_.pop()
        elif open_:
            _take(open_[-1], line)
        elif word == "METHOD":
            method = what
    yield from _whole(open_)


def _whole(open_: list[Part]) -> Iterator[Part]:
    if open_:
        yield open_[0]
        open_.clear()


def _take(part: Part, line: str) -> None:
    if not line.strip():
        return
    match = _HEAD.match(line)
    if match is None:
        part.unread.append(line[:40])
        return
    parameters = {}
    for one in re.findall(r';([A-Za-z0-9-]+)=((?:"[^"]*"|[^";])*)', match[2]):
        parameters[one[0].upper()] = one[1].strip('"')
    part.lines.append(Line(match[1].upper(), line[match.end() :], parameters))


def unescaped(text: str) -> str:
    """TEXT as meant: ``\\n`` a line end, ``\\,`` a comma (published: RFC 5545, 3.3.11)."""
    return re.sub(r"\\(.)", lambda m: "\n" if m[1] in "nN" else m[1], text, flags=re.DOTALL)
