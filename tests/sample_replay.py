"""The made-up season as it stands in its files, read and played without the generator that made it.

Temperatures are tenths of °C, instants UTC seconds. What the practice file says (hours, warm-up, what a procedure uses)
is worked out here once more.
"""

import csv
import re
import shlex
import tomllib
from collections import Counter, defaultdict
from datetime import UTC, date, datetime
from functools import cache
from math import ceil
from pathlib import Path
from zoneinfo import ZoneInfo

TESTS = Path(__file__).resolve().parent
SAMPLE = TESTS.parent / "sample_data"
DUBLIN = ZoneInfo("Europe/Dublin")
NOW = datetime(2026, 4, 14, 8, 40, tzinfo=DUBLIN)
PRACTICE = tomllib.loads((SAMPLE / "practice.toml").read_text(encoding="utf-8"))
PRODUCTS = {p["code"]: p for p in PRACTICE["product"]}
PROCEDURES = {p["code"]: p for p in PRACTICE["procedure"]}
FRIDGES = ("Surgery fridge", "Store fridge")
EXPORTS = ("2026-01-14", "2026-02-23", "2026-04-13")
SICK_DAY = date(2026, 2, 11)
HOUR = 3600


def rows(name):
    """A CSV file as dicts; every row has as many fields as the header."""
    with (SAMPLE / name).open(encoding="utf-8", newline="") as file:
        reader = csv.reader(file, strict=True)
        header = next(reader)
        found = list(reader)
    assert all(len(r) == len(header) for r in found), name
    return [dict(zip(header, r, strict=True)) for r in found]


def instant(text):
    """A stamp with its offset as UTC seconds; the offset is the one that Dublin had."""
    when = datetime.fromisoformat(text)
    assert when.utcoffset() is not None
    assert when.utcoffset() == when.astimezone(DUBLIN).utcoffset(), text
    return int(when.timestamp())


def local(at):
    return datetime.fromtimestamp(at, DUBLIN)


def at_local(text):
    return int(datetime.fromisoformat(text).replace(tzinfo=DUBLIN).timestamp())


def surgery_rows(path):
    """(UTC seconds, tenths of °C) of a file of the surgery logger."""
    with path.open(encoding="ascii", newline="") as file:
        lines = list(csv.reader(file, strict=True))
    assert lines[0] == ["timestamp", "celsius"]
    stamps = (datetime.strptime(t, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC) for t, _ in lines[1:])
    return [(int(s.timestamp()), round(float(c) * 10)) for s, (_, c) in zip(stamps, lines[1:], strict=True)]


def store_rows(path):
    """((UTC seconds, tenths of °C) …, lines that hold no reading) of a file of the store logger."""
    raw = path.read_bytes()
    assert raw.startswith(b"\xef\xbb\xbf")
    assert raw.count(b"\n") == raw.count(b"\r\n")
    lines = list(csv.reader(raw.decode("utf-8-sig").splitlines(), delimiter=";", strict=True))
    assert lines[0] == ["local time", "temperature °C"]
    found, junk = [], []
    for line in lines[1:]:
        if len(line) == 2 and re.fullmatch(r"-?\d+,\d", line[1]):
            when = datetime.strptime(line[0], "%d.%m.%Y %H:%M:%S").replace(tzinfo=DUBLIN)
            # A local time is plain where both folds agree and it survives the way to UTC and back.
            assert when.utcoffset() == when.replace(fold=1).utcoffset(), line
            assert when.astimezone(UTC).astimezone(DUBLIN).replace(tzinfo=None) == when.replace(tzinfo=None), line
            found.append((int(when.timestamp()), round(float(line[1].replace(",", ".")) * 10)))
        else:
            junk.append(line)
    return found, junk


@cache
def series(fridge):
    """The whole season of a logger, from the months' files."""
    name = fridge.split()[0].lower()
    found = []
    for path in sorted((SAMPLE / "logger").glob(f"{name}_2026-*.csv")):
        found += surgery_rows(path) if name == "surgery" else store_rows(path)[0]
    return found


def spans(day):
    """Staffed spans of a planned day as UTC seconds, from the practice file."""
    if any(c["from"] <= day <= c["to"] for c in PRACTICE["practice"]["closed"]):
        return []
    hours = PRACTICE["practice"]["hours"].get(day.strftime("%a").lower(), [])
    return [tuple(at_local(f"{day}T{end}") for end in span.split("-")) for span in hours]


def checks():
    found = defaultdict(list)
    for row in rows("hand_checks.csv"):
        tenths = (round(float(row[k]) * 10) for k in ("celsius", "min", "max"))
        found[row["fridge"]].append((instant(row["at"]), *tenths))
    return found


def exports():
    return {day: rows(f"bookings_{day}.csv") for day in EXPORTS}


@cache
def season():
    return [(instant(r["at"]), r["by"], shlex.split(r["command"])) for r in rows("season.csv")]


def options(words):
    """The options of a command; one that may be given more than once keeps its last value."""
    return {w: words[i + 1] for i, w in enumerate(words[:-1]) if w.startswith("--")}


def held_spans():
    """(fridge, product, from): the keep range of the product that lives there is broken, from the logger."""
    found = []
    for fridge, product in (("Surgery fridge", "ARCH"), ("Store fridge", "TOOTH")):
        keep = PRODUCTS[product]["keep"]
        out = [t for t, c in series(fridge) if not keep["low"] * 10 <= c <= keep["high"] * 10]
        days = sorted({local(t).date() for t in out})
        found += [(fridge, product, min(t for t in out if local(t).date() == day)) for day in days]
    return found


class Shelves:
    """The season played once more: what stands where, what is out, what is held."""

    def __init__(self):
        self.stock, self.expiry, self.held = defaultdict(int), {}, set()
        self.bookings, self.named, self.out, self.pulls = {}, 0, {}, 0
        self.used, self.gone, self.came, self.back = Counter(), Counter(), Counter(), {}
        self.outings = []
        self.done = {}

    def play(self):
        events = [(at, 1, by, words) for at, by, words in season()]
        # A fault holds what is there; a check by hand makes that known from the check before, when nothing left.
        events += [(start, 0, "", (fridge, product)) for fridge, product, start in held_spans()]
        for at, kind, _, words in sorted(events, key=lambda e: e[:2]):
            if kind == 0:
                self.held |= {k for k, n in self.stock.items() if n and (k[2], k[0]) == words}
            else:
                getattr(self, "_".join(words[:2]), self._nothing)(at, *words[2:])
            assert all(n >= 0 for n in self.stock.values()), (local(at), words)
        return self

    def _nothing(self, at, *words):
        pass

    def _add(self, product, lot, expiry, quantity, place):
        assert self.expiry.setdefault((product, lot), date.fromisoformat(expiry)) == date.fromisoformat(expiry)
        self.stock[product, lot, place] += quantity
        self.came[product] += quantity

    def stock_opening(self, at, name):
        for r in rows(name):
            self._add(r["product"], r["lot"], r["expiry"], int(r["quantity"]), r["place"])

    def stock_receive(self, at, product, *words):
        o = options(words)
        self._add(product, o["--lot"], o["--expiry"], int(o["--quantity"]), o["--into"])
        for fridge in (f for f in PRACTICE["fridge"] if f["name"] == o["--into"]):
            inside = {k: n for k, n in self.stock.items() if k[2] == fridge["name"]}
            assert sum(n * PRODUCTS[k[0]]["space"] for k, n in inside.items()) <= fridge["capacity"], local(at)
        assert self.expiry[product, o["--lot"]] > local(at).date()
        if "keep" in PRODUCTS[product]:
            assert PRODUCTS[product]["keep"]["low"] <= float(o["--arrived-at"]) <= PRODUCTS[product]["keep"]["high"]

    def take(self, at, product, last):
        here = (k for k, n in self.stock.items() if n and k[0] == product and k not in self.held)
        free = [k for k in here if self.expiry[k[:2]] >= last]
        assert free, (str(local(at)), product)
        key = min(free, key=lambda k: (self.expiry[k[:2]], k))
        self.stock[key] -= 1
        return key

    def stock_use(self, at, product, quantity, *words):
        for _ in range(int(quantity)):
            self.take(at, product, local(at).date())
        self.used[product] += int(quantity)

    def stock_move(self, at, product, lot, *words):
        o = options(words)
        assert (product, lot, o["--from"]) not in self.held
        self.stock[product, lot, o["--from"]] -= int(o["--quantity"])
        self.stock[product, lot, o["--to"]] += int(o["--quantity"])

    def stock_release(self, at, product, lot, *words):
        keys = {k for k in self.held if k[:2] == (product, lot)}
        assert keys, words
        self.held -= keys

    def stock_discard(self, at, product, lot, *words):
        o = options(words)
        if "--pull" in o:
            (booking,) = (b for b, kit in self.out.items() if kit[2] == o["--pull"])
            assert self.out.pop(booking)[0][:2] == (product, lot)
        else:
            key = (product, lot, o["--place"])
            assert key in self.held
            assert self.stock[key] == int(o["--quantity"])
            self.stock[key] = 0
            self.held.remove(key)
        self.gone[product] += int(o["--quantity"])

    def booking_import(self, at, name):
        for r in rows(name):
            if r["id"] not in self.bookings:
                self.named += 1
            state = {"procedure": r["procedure"], "start": instant(r["start"]), "state": r["state"]}
            self.bookings[r["id"]] = state | {"cycles": int(r["cycles"]) if r["cycles"] else None}

    def booking_add(self, at, procedure, *words):
        self.named += 1
        o = options(words)
        start = instant(o["--start"])
        assert at < start
        self.bookings[f"B-{self.named}"] = {"procedure": procedure, "start": start, "state": "booked", "cycles": None}

    def booking_move(self, at, name, *words):
        assert self.bookings[name]["state"] == "booked"
        self.bookings[name]["start"] = instant(options(words)["--start"])

    def booking_cancel(self, at, name, *words):
        assert self.bookings[name]["state"] == "booked"
        self.bookings[name]["state"] = "cancelled"

    def warmup_pull(self, at, name):
        booking = self.bookings[name]
        assert booking["state"] == "booked"
        assert name not in self.out and name not in self.done
        (product,) = (
            u["product"] for u in PROCEDURES[booking["procedure"]]["uses"] if "keep" in PRODUCTS[u["product"]]
        )
        p = PRODUCTS[product]
        margin = 60 * PRACTICE["practice"]["margin_minutes"]
        assert local(at).date() != SICK_DAY
        assert any(a + margin <= at <= b - margin for a, b in spans(local(at).date())), local(at)
        assert at + p["warmup_hours"] * HOUR <= booking["start"]
        self.pulls += 1
        key = self.take(at, product, local(booking["start"]).date())
        self.out[name] = (key, at, f"P-{self.pulls}")

    def warmup_back(self, at, pull):
        (name,) = (b for b, kit in self.out.items() if kit[2] == pull)
        key, since, _ = self.out.pop(name)
        assert PRODUCTS[key[0]]["returnable"]
        assert self.bookings[name]["state"] == "missed"
        self.stock[key] += 1
        self.back[key[:2]] = at - since

    def booking_missed(self, at, name, *words):
        self.bookings[name]["state"] = "missed"
        if options(words)["--kit"] == "opened":
            self.used[self.out.pop(name)[0][0]] += 1

    def booking_done(self, at, name, *words):
        booking, o = self.bookings[name], options(words)
        procedure = PROCEDURES[booking["procedure"]]
        assert booking["state"] == "booked"
        booking["state"] = "done"
        cycles = int(o.get("--cycles", booking["cycles"] or procedure.get("cycles", 0)))
        assert cycles <= procedure.get("max_cycles", 0)
        end = booking["start"] + 60 * (procedure["minutes"] + cycles * procedure.get("minutes_per_cycle", 0))
        assert end <= at
        assert any(a <= booking["start"] and end <= b for a, b in spans(local(end).date())), name
        inside, kits = {}, [u["product"] for u in procedure["uses"] if "keep" in PRODUCTS[u["product"]]]
        if kits:
            key, since, _ = self.out.pop(name)
            assert key[0] == kits[0]
            p = PRODUCTS[kits[0]]
            assert since + p["warmup_hours"] * HOUR <= booking["start"]
            assert at <= since + p["max_out_hours"] * HOUR
            assert self.expiry[key[:2]] >= local(at).date()
            inside = p.get("contains", {})
            self.used[key[0]] += 1
            self.outings.append((since, at, key[:2]))
        self.done[name] = at
        extra = dict(w.split("=") for w in (words[i + 1] for i, w in enumerate(words) if w == "--used"))
        for u in procedure["uses"]:
            if u["product"] not in kits:
                n = u.get("each", 0) + ceil(cycles / u.get("per_cycles", cycles or 1)) * ("per_cycles" in u)
                n = max(0, n + u.get("spare", 0) - inside.get(u["product"], 0)) + int(extra.get(u["product"], 0))
                for _ in range(n):
                    self.take(at, u["product"], local(at).date())
                self.used[u["product"]] += n


@cache
def played():
    return Shelves().play()
