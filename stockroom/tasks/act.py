"""What every recording job shares: who does it and when, the open entry, the findings, and the one ending.

Every path that may change which pieces an excursion touched ends in ``Recording``'s close, which settles the
consequences, so that none forgets to hold.
"""

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from stockroom.core.records import Finding
from stockroom.core.stock import FOREVER
from stockroom.errors import Refused
from stockroom.store import Link, ledger
from stockroom.store.engine import Store
from stockroom.store.writing import Book, writing
from stockroom.tasks.rules import Rules, rules

if TYPE_CHECKING:
    from stockroom.core.excursions import Event


@dataclass(frozen=True, slots=True)
class Act:
    """Who records, when it happened, when it is recorded; ``ask`` puts a yes-or-no question where a person is there."""

    by: str
    at: int
    now: int
    site: str | None = None
    at_given: bool = False
    by_typed: bool = True
    ask: Callable[[str], bool] | None = None
    advance: Callable[[str, int, int], None] | None = None
    """Told (what, done, of how many) while something long goes on."""


@dataclass(frozen=True, slots=True)
class Recorded:
    """The answer of every command that records: its entry, what it says, what to know, and its own fields."""

    entry: str
    what: str
    findings: tuple[Finding, ...] = ()
    fields: dict[str, Any] = field(default_factory=dict)

    @property
    def attention(self) -> bool:
        """True where something was broken or needs a person (exit 1)."""
        return any(f.urgent for f in self.findings)


@dataclass(slots=True)
class Recording:
    """An open entry with the rules that ruled when it happened."""

    book: Book
    act: Act
    rules: Rules
    findings: list[Finding] = field(default_factory=list)
    fields: dict[str, Any] = field(default_factory=dict)
    fridges: dict[str, int] = field(default_factory=dict)
    settled: dict[str, int] = field(default_factory=dict)
    """Other fridges whose consequences were drawn as well, and since when."""
    excursions: "list[tuple[int, Event]]" = field(default_factory=list)
    """Excursions that this entry may have made or changed, with their numbers."""

    @property
    def conn(self) -> Link:
        """The open transaction to read from."""
        return self.book.conn

    def broke(self, slug: str, what: str, todo: str = "") -> None:
        """Names a rule that what happened has broken: on the record, and to the person at once."""
        self.book.breach(slug, what)
        self.findings.append(Finding(slug, what, todo, urgent=True))

    def note(self, slug: str, what: str, todo: str = "", *, urgent: bool = False) -> None:
        """Tells the person something that is not a broken rule."""
        self.findings.append(Finding(slug, what, todo, urgent))

    def touches(self, place: str, since: int) -> None:
        """Says that something about a fridge changed from an instant on, be it one that the practice file has no more."""
        if self.rules.practice.fridge(place) is not None or ledger.place_kinds(self.conn).get(place) == "fridge":
            self.fridges[place] = min(since, self.fridges.get(place, since))

    def done(self) -> Recorded:
        """The answer, once the entry is closed."""
        return Recorded(self.book.label, self.book.what, tuple(self.findings), self.fields)


@contextlib.contextmanager
def recording(store: Store, act: Act, kind: str, *, site: str | None = None) -> Iterator[Recording]:
    """An open entry; on leaving, its consequences are drawn and all of it is on record, or nothing is.

    Raises: Refused for a time ahead of now; DatabaseError.
    """
    if act.at > act.now + 300:
        raise Refused("ahead-of-time", "that lies more than 5 minutes ahead", "record it when it has happened")
    with writing(store, kind, by=act.by, at=act.at, now=act.now, site=site or act.site or "") as book:
        act = replace(act, at=book.at, now=book.recorded_at)
        rec = Recording(book, act, rules(book.conn, act.at))
        if act.site is not None:
            rec.rules.site(act.site)
        _known_hand(rec)
        if any(p.allowance for p in rec.rules.practice.products):
            from stockroom.tasks.consequences import lasting

            lasting(rec)
        yield rec
        if book.moved_stock:
            from stockroom.tasks.shelves import newly_short

            _too_many(rec, newly_short(rec.conn, book.n))
        if rec.fridges:
            from stockroom.tasks.consequences import settle

            settle(rec)


def every_fridge(rec: Recording) -> None:
    """Says that other rules hold for every fridge that was ever used, those that no file names any more included.

    What spans the moment at which rules change is parted or joined there, so that it reaches back beyond that moment.
    """
    for name, kind in ledger.place_kinds(rec.conn).items():
        if kind == "fridge":
            rec.touches(name, -FOREVER)


CANNOT_BE = ("move", "return", "discard", "pull", "back")
"""What takes pieces that are nowhere is refused; what used them is recorded, and named."""


def _too_many(rec: Recording, short: list[tuple[str, str, int]]) -> None:
    for product, lot, n in short:
        if rec.book.kind in CANNOT_BE:
            raise Refused(
                "not-that-many",
                f"with this, {n} of lot {lot} of {product} would be gone that the record does not have later on",
                ("name the lot that was taken: --lot; " if rec.book.kind == "pull" else "")
                + "if they are there, count first: stockroom stock count PLACE",
            )
        if rec.book.kind != "undo" and not any(f.slug == "unaccounted" for f in rec.findings):
            rec.broke(
                "unaccounted",
                f"the record has {n} too few of {product} lot {lot}",
                "count it: stockroom stock count PLACE",
            )


def _known_hand(rec: Recording) -> None:
    people = rec.rules.practice.people
    known = {p.initials: p.may for p in people}
    if people and "record" not in known.get(rec.act.by, frozenset()) and rec.act.by != "program":
        rec.broke(
            "unknown-hand", f"{rec.act.by} is not among the people who record here", "add them to the practice file"
        )


def may_decide(act: Act, rule: Rules) -> None:
    """Raises: Refused where a decision is not signed by a person who may decide, typed just now."""
    if not act.by_typed:
        raise Refused("sign-decision", "a decision wants your own initials", "type them: --by INITIALS")
    people = rule.practice.people
    if people and not any(p.initials == act.by and "decide" in p.may for p in people):
        able = ", ".join(p.initials for p in people if "decide" in p.may) or "nobody yet"
        raise Refused("may-not-decide", f"{act.by} may not decide here", f"those who may: {able}")


CAUTIONS = (
    "Do not use it until the maker or the responsible clinician has answered.",
    "Follow the label, the instructions for use and the safety data sheet; local law and the licensed practitioner decide.",
)
"""Printed on every quarantine, release, pull and excursion."""


def cautions(rec: Recording, products: set[str]) -> None:
    """Adds the usual cautions, and each product's own words, to what is shown."""
    for text in CAUTIONS:
        rec.note("caution", text)
    for code in sorted(products):
        product = rec.rules.practice.product(code)
        for text in product.caution if product else ():
            rec.note("caution", f"{code}: {text}")
