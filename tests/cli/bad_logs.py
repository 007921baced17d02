"""Damaged logger files, made from good ones: every kind of harm that a file may come to, the same for a same seed.

All data is made up.
"""

import random
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

START = datetime(2026, 1, 13, 6, tzinfo=UTC)


def _rows(write: Callable[[datetime, float, int], str], n: int = 24) -> str:
    return "".join(write(START + timedelta(minutes=10 * i), 3 + (7 * i % 23) / 10, i) for i in range(n))


GOOD = (
    "time,temperature\n" + _rows(lambda t, v, i: f"{t:%Y-%m-%dT%H:%M:%SZ},{v:.1f}\n"),
    "Zeit;Temperatur (°C)\r\n" + _rows(lambda t, v, i: f"{t:%d.%m.%Y %H:%M};{int(v)},{round(v * 10) % 10}\r\n"),
    "Report\nSerial;4711\nMin;2,1;2026-01-12 06:20\nMax;9,4\n\nNo;Date;Time;Fridge °C;Humidity %\n"
    + _rows(lambda t, v, i: f"{i};{t:%Y-%m-%d};{t:%H:%M:%S};{v:.2f};21,5\n"),
    '"Date","Temp (°F)","Humidity %"\n' + _rows(lambda t, v, i: f'"{t:%m/%d/%Y %I:%M %p}","{v * 1.8 + 32:.1f}",45\n'),
    "when\ttemp\tunit\n" + _rows(lambda t, v, i: f"{t.isoformat()}\t{v:.3f} °C\tC\n"),
    "timestamp|celsius\n" + _rows(lambda t, v, i: f"{int(t.timestamp())}|{v:.1f}\n"),
    "sep=;\ndate;reading\n;°C\n" + _rows(lambda t, v, i: f"{t:%d-%b-%Y %H:%M:%S}.5;{v:.1f};\n"),
    _rows(lambda t, v, i: f"{t:%Y-%m-%d %H:%M},{v:.1f}\n"),
)
"""Eight well-formed logs: ISO, dots, statistics and two columns, quoted month first, tabs, counts, units, no header."""

JUNK = (
    b"\0", b"\0\0\0\0", b'"', b'""', b"\xff", b"\xfe\xff", b"\xc3", b"\r", b"\n", b"\r\r\n", b",", b";", b"\t", b"|",
    b"\x1b[2J", b"\x1b]0;x\x07", b"\x07", b"\x08", b"\x9b31m", b"9" * 400, b"1e309", b"-1e309", b"nan", b"NaN", b"inf",
    b"-Infinity", b"0x1F", b"1e-9999", b"60.0001", b"-0", b"12,345.6", "٤".encode(), "−4".encode(), "4,2\u00a0°C".encode(),
    b"9999-12-31 23:59:59", b"0001-01-01 00:00:00", b"2026-02-30 10:00", b"2026-01-12 24:00", b"2026-01-12 25:61",
    b"00/00/0000 00:00", b"31/02/26 10:00", b"2026-03-29 02:30", b"2026-10-25 02:30", b"+99:99", b"2026-01-12T06:00:60Z",
    b"x" * 10_000, b"9" * 10_000 + b"x", b"," * 3000, b'"' * 3001, b"-" * 5000, "😀".encode(), "\u202e\u200f\u2066".encode(),
    "\u2028\x85".encode(), b"=HYPERLINK(1)", b"@SUM(A1)", b"+cmd|x", b"sep=;\n", b"PK\x03\x04", b"%PDF-1.7", b"\x89PNG",
    b"time,temperature\n", b"Zeit;Temperatur (\xb0F)\n", b"time,temp (F)\n", b"N/A", b"---", b"ERR", b"", b"4133980799",
)  # fmt: skip
WHOLE = (
    b"", b"\n", b"\0", b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff", b"time,temperature", b"time,temperature\n" * 400,
    b'"', b"," * 50_000, b"2026-01-12 06:00,4" * 9000, b"a\r" * 4000, b"\x1b[31m\n" * 30, "😀,🧊\n".encode() * 50,
    b"time,temp\n2026-01-12 06:00," + b"9" * 200_000 + b"\n", b'time,temp\n"' + b"x" * 150_000 + b'\n2026-01-12 06:00,4\n',
    b"time,temp\n" + b"2026-01-12 06:00,nan\n" * 300, b"9999-12-31 23:59,4\n0001-01-01 00:00,4\n",
)  # fmt: skip


def damaged(seed: int) -> bytes:
    """One file. Half of them are hurt more than once; all are what somebody could give by mistake or on purpose."""
    chance = random.Random(seed)
    if chance.random() < 0.04:
        return chance.choice(WHOLE) if chance.random() < 0.6 else chance.randbytes(chance.randrange(1, 3000))
    text = chance.choice(GOOD)
    for _ in range(chance.choice((0, 1, 1, 2))):
        text = chance.choice(TEXT_HARM)(text, chance) or "\n"
    data = text.encode(
        chance.choice(("utf-8",) * 6 + ("utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252")), "replace"
    )
    for _ in range(chance.choice((0, 1, 1, 2, 5))):
        data = chance.choice(BYTE_HARM)(data, chance)
    return data


def _shuffled(text: str, chance: random.Random) -> str:
    lines = text.splitlines(keepends=True)
    chance.shuffle(lines)
    return "".join(lines)


def _column_dropped(text: str, chance: random.Random) -> str:
    mark, gone = chance.choice(",;\t|"), chance.randrange(3)
    some = chance.random()
    return "\n".join(
        mark.join(c for i, c in enumerate(line.split(mark)) if i != gone) if chance.random() < some else line
        for line in text.splitlines()
    )


def _repeated(text: str, chance: random.Random) -> str:
    lines = text.splitlines(keepends=True)
    at = chance.randrange(len(lines))
    return "".join([*lines[:at], *chance.choices(lines, k=chance.choice((1, 3, 40))), *lines[at:]])


def _other_marks(text: str, chance: random.Random) -> str:
    some = chance.random()
    one, two = chance.choice(",;\t| "), chance.choice(",;\t|. :")
    return "".join(two if c == one and chance.random() < some else c for c in text)


def _other_ends(text: str, chance: random.Random) -> str:
    return text.replace("\r\n", "\n").replace(
        "\n", chance.choice(("\r", "\r\n", "\n\n", "\n\r", " ", "\x0b", "\u2028"))
    )


def _one_line(text: str, chance: random.Random) -> str:
    return chance.choice(("", ",", ";", '"')).join(text.splitlines()) * chance.choice((1, 1, 30))


def _header_gone(text: str, chance: random.Random) -> str:
    lines = text.splitlines(keepends=True)
    return "".join(lines[chance.randrange(1, len(lines) + 1) :])


def _only_header(text: str, chance: random.Random) -> str:
    return "".join(text.splitlines(keepends=True)[: chance.randrange(1, 9)])


def _digits_changed(text: str, chance: random.Random) -> str:
    some = chance.choice((0.01, 0.1, 0.5))
    return "".join(chance.choice("0123456789") if c.isdigit() and chance.random() < some else c for c in text)


def _field_replaced(text: str, chance: random.Random) -> str:
    lines = text.splitlines(keepends=True)
    junk = chance.choice(JUNK).decode("cp1252", "replace")
    for _ in range(chance.choice((1, 3, 30))):
        at = chance.randrange(len(lines))
        mark = chance.choice(",;\t|")
        parts = lines[at].split(mark)
        parts[chance.randrange(len(parts))] = junk
        lines[at] = mark.join(parts)
    return "".join(lines)


TEXT_HARM: tuple[Callable[[str, random.Random], str], ...] = (
    _shuffled, _column_dropped, _repeated, _other_marks, _other_ends, _one_line, _header_gone, _only_header,
    _digits_changed, _field_replaced, _field_replaced,
)  # fmt: skip


def _cut(data: bytes, chance: random.Random) -> bytes:
    return data[: chance.randrange(len(data) + 1)] if chance.random() < 0.7 else data[chance.randrange(len(data) + 1) :]


def _flipped(data: bytes, chance: random.Random) -> bytes:
    out = bytearray(data)
    for _ in range(chance.choice((1, 3, 30, 300)) if out else 0):
        out[chance.randrange(len(out))] = chance.randrange(256)
    return bytes(out)


def _put_in(data: bytes, chance: random.Random) -> bytes:
    at = chance.randrange(len(data) + 1)
    return data[:at] + chance.choice(JUNK) + data[at + chance.choice((0, 0, 1, 8, 40)) :]


BYTE_HARM: tuple[Callable[[bytes, random.Random], bytes], ...] = (_cut, _flipped, _put_in, _put_in)
