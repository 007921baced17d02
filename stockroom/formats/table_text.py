"""Bytes of a table in text form -> lines, fields and named rows, with the line numbers of the file.

Shared by every CSV reader. Read are UTF-8 and UTF-16, each with and without a byte order mark, and what is
neither as Windows-1252, which is then said in the notes; lines ending in LF, CR LF or CR; fields separated by
comma, semicolon, tab or bar. ``name`` is only used in messages: nothing here opens a file.
"""

import csv
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from stockroom.errors import Refused, nearest

DELIMITERS = ("\t", ";", "|", ",")
"""In the order of preference where several fit equally well: a comma may be a decimal comma."""

MAGIC = (
    (b"PK\x03\x04", "a spreadsheet file or a zip archive"),
    (b"PK\x05\x06", "an empty zip archive"),
    (b"\xd0\xcf\x11\xe0", "a spreadsheet file"),
    (b"%PDF", "a PDF"),
    (b"\x1f\x8b", "a compressed file"),
    (b"7z\xbc\xaf\x27\x1c", "a compressed file"),
    (b"Rar!\x1a\x07", "a compressed file"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"SQLite format 3\0", "a database"),
)
"""How the files that people choose by mistake begin (published: the formats' own specifications)."""

_UNSEEN = dict.fromkeys(map(ord, "\u200b\ufeff\u200e\u200f"))

MOST_JOINED_LINES = 20
"""A quoted field may run over so many lines; a quotation mark left open never swallows the rest of a file."""


@dataclass(frozen=True, slots=True)
class Rejected:
    """A line of the file, counted from 1, that was not read, and why; in a calendar an event, known by its UID."""

    line: int
    why: str
    event: str = ""


@dataclass(frozen=True, slots=True)
class PlainText:
    """UTF-8 without a byte order mark, whose lines end in LF or CR LF, and what had to be done to get it."""

    data: bytes
    notes: tuple[str, ...] = ()


def shown(text: str, most: int = 40) -> str:
    """A piece of a file as a message may show it: quoted, short, nothing that could steer a terminal."""
    safe = "".join(c if c.isprintable() else "?" for c in text[: most + 1].strip())
    return f'"{safe[:most]}…"' if len(safe) > most else f'"{safe}"'


def plain_text(data: bytes, name: str) -> PlainText:
    """The file as UTF-8 with LF or CR LF; without a copy where it is that already.

    Raises: Refused where the file is empty or not text at all.
    """
    for magic, what in MAGIC:
        if data.startswith(magic):
            raise _not_text(name, what)
    notes: tuple[str, ...] = ()
    wide = wide_encoding(data)
    if wide:
        data = data.decode(wide, errors="replace").encode("utf-8", errors="replace")
        notes = ("read as UTF-16",)
    elif data.startswith(b"\xef\xbb\xbf"):
        data = data[3:]
    if b"\0" in data:
        raise _not_text(name, "a binary file")
    if not data.isascii():
        data, notes = _utf8(data, name, notes)
    if not data.strip():
        raise Refused("empty-file", f"{name} is empty", "export the file again")
    if data.count(b"\r") != data.count(b"\r\n"):
        data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return PlainText(data, notes)


def wide_encoding(data: bytes) -> str | None:
    """The encoding of a file in UTF-16, with its mark or without; None for any other."""
    return "utf-16" if data.startswith((b"\xff\xfe", b"\xfe\xff")) else _unmarked_utf16(data[:2000])


def _unmarked_utf16(start: bytes) -> str | None:
    """The encoding of UTF-16 without its mark: nearly every second byte is zero, and none of the others."""
    half = len(start) // 2
    for zeros, others, encoding in ((start[1::2], start[::2], "utf-16-le"), (start[::2], start[1::2], "utf-16-be")):
        if half and 10 * zeros.count(0) > 9 * half and not others.count(0):
            return encoding
    return None


def _utf8(data: bytes, name: str, notes: tuple[str, ...]) -> tuple[bytes, tuple[str, ...]]:
    """The same text in UTF-8: as it is, or from Windows-1252."""
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        strange = sum(data.count(bytes([c])) for c in range(32) if c not in (9, 10, 12, 13))
        if strange * 100 > len(data):
            raise _not_text(name, "a binary file") from None
        notes = (*notes, "read as Windows-1252 (cp1252): it is not UTF-8")
        data = data.decode("cp1252", errors="replace").encode("utf-8")
    if "\ufffd".encode() in data:
        notes = (*notes, "some characters could not be read")
    return data, notes


def _not_text(name: str, what: str) -> Refused:
    return Refused(
        "not-a-text-file",
        f"{name} is {what}, not text",
        "save it as CSV in the program that made it, and give that file",
    )


def head(text: PlainText, most: int) -> list[tuple[int, int, str]]:
    """The first ``most`` lines: line number from 1, the byte at which it starts, the line without its end."""
    found: list[tuple[int, int, str]] = []
    start = 0
    while start < len(text.data) and len(found) < most:
        stop = text.data.find(b"\n", start)
        stop = len(text.data) if stop < 0 else stop
        found.append((len(found) + 1, start, text.data[start:stop].decode("utf-8", "replace").rstrip("\r")))
        start = stop + 1
    return found


def fields(line: str, delimiter: str) -> list[str]:
    """The fields of one line, quotes honoured; a mark left open ends with the line.

    Raises: csv.Error for a field beyond the csv module's limit of 131072 characters.
    """
    if '"' not in line:
        return line.split(delimiter)
    return next(csv.reader([line], delimiter=delimiter), [])


def stated_delimiter(line: str) -> str | None:
    """The delimiter that a first line ``sep=;`` states, as spreadsheets write it, or None."""
    bare = line.strip(' "')
    return bare[4] if len(bare) == 5 and bare.startswith("sep=") and bare[4] in DELIMITERS else None


def likely_delimiter(lines: Sequence[str]) -> str:
    """The delimiter that divides most of the lines into equally many fields; a comma where none does.

    Within a twentieth of the best, the order of DELIMITERS decides: ``3.4.2026;4,2`` has one of each.
    """
    share: dict[str, float] = {}
    filled = [line for line in lines if line.strip()][:1000]
    for mark in DELIMITERS:
        counts: Counter[int] = Counter()
        for line in filled:
            if mark in line:
                counts[_field_count(line, mark)] += 1
        counts.pop(1, None)
        share[mark] = max(counts.values(), default=0) / max(1, len(filled))
    best = max(share.values())
    return "," if not best else next(m for m in DELIMITERS if share[m] >= 0.95 * best)


def _field_count(line: str, delimiter: str) -> int:
    try:
        return len(fields(line, delimiter))
    except csv.Error:
        return 1


def records(lines: Sequence[str], delimiter: str) -> Iterator[tuple[int, list[str] | None]]:
    """Line number and fields of each record that is not blank; None where its quotation marks do not fit.

    A quoted field may hold line ends. A mark that is never closed costs its own line only.
    """
    at = 0
    while at < len(lines):
        found, used = _record(lines, at, delimiter)
        if found is None or any(cell.strip() for cell in found):
            yield at + 1, found
        at += used


def _record(lines: Sequence[str], at: int, delimiter: str) -> tuple[list[str] | None, int]:
    """The record that begins in line ``at`` and how many lines it takes."""
    if '"' not in lines[at]:
        return lines[at].split(delimiter), 1
    for used in range(1, min(MOST_JOINED_LINES, len(lines) - at) + 1):
        try:
            got = list(csv.reader(["\n".join(lines[at : at + used])], delimiter=delimiter, strict=True))
        except csv.Error:
            continue
        if len(got) == 1:
            return got[0], used
    return None, 1


def cell(text: str) -> str:
    """A field as a value: outer and doubled white space gone, marks that nobody sees as well."""
    return " ".join((text if text.isascii() else text.translate(_UNSEEN)).split())


@dataclass(frozen=True, slots=True)
class NamedRow:
    """A row by column name (ours); a column that the file does not have is the empty string."""

    line: int
    cells: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class NamedTable:
    """The rows below the header, the lines that were not read, and what had to be done."""

    rows: tuple[NamedRow, ...]
    rejected: tuple[Rejected, ...]
    notes: tuple[str, ...]
    columns: frozenset[str] = frozenset()
    """Our names of the columns that it has."""


def named_table(
    data: bytes,
    name: str,
    required: Sequence[str],
    optional: Sequence[str] = (),
    columns: Mapping[str, str] | None = None,
) -> NamedTable:
    """A table with a header, by our column names; case and spacing of the header do not matter.

    ``columns`` maps our name to the file's where they differ. The header may stand below a few title lines.

    Raises: Refused where the file is not text, or a required column is missing or there twice.
    """
    text = plain_text(data, name)
    lines = [line.rstrip("\r") for line in text.data.decode("utf-8", "replace").split("\n")]
    stated = stated_delimiter(lines[0])
    if stated:
        lines[0] = ""
    delimiter = stated or likely_delimiter(lines)
    wanted = {ours: (columns or {}).get(ours, ours) for ours in (*required, *optional)}
    for ours in columns or {}:
        if ours not in wanted:
            raise Refused("unknown-column", f'there is no column "{ours}"{nearest(ours, list(wanted))}')
    found = list(records(lines, delimiter))
    top = _header_index(found, [wanted[ours] for ours in required])
    must = {*required, *(columns or {})}
    header = found[top][1] if top < len(found) else None
    places = _places(header or [], wanted, must, name)
    rows: list[NamedRow] = []
    rejected: list[Rejected] = []
    for line, got in found[top + 1 :]:
        cells = got and [cell(c) for c in got]
        why = _unfit(cells, len(header or []))
        if cells is None or why:
            rejected.append(Rejected(line, why))
            continue
        rows.append(NamedRow(line, {o: cells[i] if i < len(cells) else "" for o, i in places.items()}))
    return NamedTable(tuple(rows), tuple(rejected), text.notes, frozenset(places))


def _header_index(found: Sequence[tuple[int, list[str] | None]], needed: Sequence[str]) -> int:
    """Which of the first ten records names every needed column; the first one where none does."""
    for index, (_, got) in enumerate(found[:10]):
        names = {cell(c).casefold() for c in got or ()}
        if all(cell(n).casefold() in names for n in needed):
            return index
    return 0


def _places(header: Sequence[str], wanted: Mapping[str, str], must: set[str], name: str) -> dict[str, int]:
    """Where each of our columns stands. Raises: Refused for one that is missing or doubled."""
    names = [cell(c) for c in header]
    folded = [n.casefold() for n in names]
    places: dict[str, int] = {}
    for ours, theirs in wanted.items():
        times = folded.count(cell(theirs).casefold())
        if times > 1:
            raise Refused("doubled-column", f'{name} has the column "{theirs}" {times} times', "rename all but one")
        if times:
            places[ours] = folded.index(cell(theirs).casefold())
        elif ours in must:
            listed = ", ".join(shown(n) for n in names[:30] if n) or "none"
            left = [n for n in names if n]
            raise Refused(
                "missing-column",
                f'{name} has no column "{theirs}"{nearest(theirs, [shown(n)[1:-1] for n in left])}',
                f"its first line must name the columns {', '.join(wanted[o] for o in wanted if o in must)}; "
                f"found: {listed}",
            )
    return places


def _unfit(cells: Sequence[str] | None, width: int) -> str:
    """Why the record cannot be divided into the header's columns, or the empty string."""
    if cells is None:
        return "a quotation mark is out of place or not closed"
    if any(cells[width:]):
        return f"has {len(cells)} fields where the header has {width}: a field with the delimiter in it needs quotes"
    if not all(c.isprintable() for c in cells):
        return "has characters that cannot be printed"
    return ""
