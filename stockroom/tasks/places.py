"""Names that people type -> places, products and lots of the practice; errors name the nearest."""

import re
from collections.abc import Iterable

from stockroom.core.kit_mark import lot_mark, names_a_kit, said
from stockroom.core.practice import Practice, Procedure, Product
from stockroom.core.records import OUTSIDE
from stockroom.errors import Refused, nearest, unknown
from stockroom.store import Link, ledger
from stockroom.tasks.act import Recording

SLIP_OF_A_NAME = 0.8
"""As alike as this, a name that the practice file does not know is a slip; less alike, it is a box: whoever empties
a failed fridge into a cool box is not to be stopped because a place is called "Cold one"."""


def folded(word: str, known: list[str]) -> str | None:
    """The known name that is typed, capitals aside, None where there is none or more than one."""
    if word in known:
        return word
    close = [k for k in known if k.casefold() == word.strip().casefold()]
    return close[0] if len(close) == 1 else None


def product_named(practice: Practice, word: str) -> Product:
    """The product of a code. Raises: Refused."""
    code = folded(word, [p.code for p in practice.products])
    found = practice.product(code) if code else None
    if found is None:
        raise unknown("unknown-product", "product", word, [p.code for p in practice.products])
    return found


def code_named(conn: Link, practice: Practice, word: str) -> str:
    """The code of a product of the practice file, or of one that only the record knows any more. Raises: Refused."""
    recorded = sorted({x.product for x in ledger.lots(conn).values()})
    code = folded(word, [p.code for p in practice.products]) or folded(word, recorded)
    return code if code is not None else product_named(practice, word).code


def procedure_named(practice: Practice, word: str) -> Procedure:
    """The procedure of a code. Raises: Refused."""
    code = folded(word, [p.code for p in practice.procedures])
    found = practice.procedure(code) if code else None
    if found is None:
        raise unknown("unknown-procedure", "procedure", word, [p.code for p in practice.procedures])
    return found


def fridge_named(practice: Practice, word: str | None, site: str | None = None) -> str:
    """The name of a fridge; the only one where none is named. Raises: Refused."""
    names = [f.name for f in practice.fridges if site is None or f.site == site]
    if word is None:
        if len(names) == 1:
            return names[0]
        raise Refused(
            "which-fridge", "this could mean more than one fridge", "add --fridge with one of: " + ", ".join(names)
        )
    found = folded(word, names)
    if found is None:
        raise unknown("unknown-fridge", "fridge", word, names)
    return found


def place_named(practice: Practice, word: str) -> str:
    """The name of a fridge or shelf of the practice file. Raises: Refused."""
    names = _places(practice)
    found = folded(word, names)
    if found is None:
        raise unknown("unknown-place", "place", word, names)
    return found


def place_or_box(rec: Recording, word: str) -> str:
    """A place of the practice file, or a box that it does not know: unmonitored, and said so. Raises: Refused."""
    names = _places(rec.rules.practice)
    found = folded(word, names)
    if found is not None:
        return found
    kinds = ledger.place_kinds(rec.conn)
    # A box, or a fridge or shelf that the practice file does not name any more: what stands there can still go.
    known = folded(word, [n for n, kind in kinds.items() if kind in ("box", "fridge", "shelf")])
    if known is not None:
        return known
    if word in OUTSIDE or names_a_kit(word):
        raise Refused("unknown-place", f'"{word}" is not a place to put things', "name a fridge, a shelf or a box")
    hint = nearest(word, names, SLIP_OF_A_NAME)
    if hint and not (
        rec.act.ask and rec.act.ask(f'"{word}" is not in the practice file{hint} Use it as a box all the same?')
    ):
        raise Refused("unknown-place", f'there is no place "{word}"{hint}', "places: " + ", ".join(names))
    rec.note("unmonitored", f'"{word}" is not in the practice file: nobody measures how cold it is there', urgent=True)
    return word


def places_here(rec: Recording, places: Iterable[str]) -> list[str]:
    """Those of some places that belong to the site that was named; of a group without one named, all of one site.

    Raises: Refused where they lie at several sites and none was named.
    """
    practice = rec.rules.practice

    def origin(place: str) -> str:
        pull = ledger.pull_of(rec.conn, int(place[2:])) if place.startswith("P-") else None
        return place if pull is None else pull.source

    sites = {p: practice.site_of(origin(p)) for p in sorted(places)}
    if rec.act.site is not None:
        return [p for p, site in sites.items() if site in (None, rec.act.site)]
    if len({s for s in sites.values() if s is not None}) > 1:
        rec.rules.site(None)  # raises where the practice has several
    return list(sites)


def known_place(conn: Link, practice: Practice, word: str) -> str:
    """A place of the practice file, or one that is on record: a box, a fridge that is gone, a kit (P-5). Raises: Refused."""
    if names_a_kit(word):
        word = f"P-{pull_number(conn, word)}"
    if names_a_kit(word) and ledger.place_key(conn, word) is not None:
        return word
    recorded = [n for n, kind in ledger.place_kinds(conn).items() if kind != "outside"]
    found = folded(word, _places(practice)) or folded(word, recorded)
    return found if found is not None else place_named(practice, word)


def _places(practice: Practice) -> list[str]:
    return [f.name for f in practice.fridges] + [s.name for s in practice.shelves]


def kind_of(practice: Practice, name: str) -> str:
    """fridge, shelf, pull or box."""
    if practice.fridge(name) is not None:
        return "fridge"
    if any(s.name == name for s in practice.shelves):
        return "shelf"
    return "pull" if re.fullmatch(r"P-\d+", name) else "box"


def key_of(rec: Recording, name: str) -> int:
    """The key of a place, which is added on its first use."""
    return ledger.placed(rec.book, name, kind_of(rec.rules.practice, name))


def number_of(text: str, letter: str) -> int | None:
    """7 from ``B-7``, ``b7`` or ``7``; None for anything else."""
    found = re.fullmatch(rf"(?:{letter}-?)?(\d{{1,9}})", text.strip(), re.IGNORECASE)
    return int(found.group(1)) if found else None


def pull_number(conn: Link, text: str) -> int | None:
    """5 from ``P-5``, ``p5``, ``5`` or the text of a kit's label (``P-5.7J077``); None for anything else.

    The one place in which a kit's number is read. Raises: Refused where a label names another lot than the kit has.
    """
    found = said(text)
    if found is None:
        return None
    number, lot = found
    pull = ledger.pull_of(conn, number) if lot is not None else None
    if pull is not None:
        code = ledger.lots(conn)[pull.lot].code
        if lot_mark(code) != lot:
            raise Refused(
                "other-label",
                f'the label "{text.strip()}" is not of this kit: P-{number} is {pull.product} lot {code}',
                "look at the box; its number alone, typed, names the kit on record",
            )
    return number
