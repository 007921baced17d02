"""Which kit for which booking: as many bookings as possible, then kits already out, then first expired first out.

A kit serves a booking where it is ready by the start and good to the end; one in the fridge, besides, only where
somebody can take it out in time and its hours out then last. Which sets of kits can be used together, and which
sets of bookings can be served together, are two transversal matroids of the same rank. Hence

1. kits, in the order in which they should be used, are each kept where all kept so far can be used at once: these
   are as many as any assignment can use;
2. bookings by start are seated on the kits kept, each on the feasible free one with the earliest use-by (Glover
   1967), by augmenting paths where there is none (with bookings of different length, or ones that only a kit
   already out can serve, that happens). Whatever set of bookings can be served at all can be served together
   with using all these kits (Mendelsohn & Dulmage 1958), so nothing is lost by leaving the others aside.

Every step keeps the maximum; the order of kits and bookings only decides between equal maxima. Who sits where is kept
by ``pairing``.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from stockroom.core.pairing import Pairing, Post, Seeker

FOREVER = 1 << 61
"""Stands for a limit that is not known."""


@dataclass(frozen=True, slots=True)
class Want:
    """One kit wanted from ``start`` to ``end``.

    ``out_for``: how many seconds a kit from the fridge would have been out at the end, taken out at the last
    moment at which somebody is there; None where nobody is there in time (late or blocked).
    """

    start: int
    end: int
    out_for: int | None = None


@dataclass(frozen=True, slots=True)
class Option:
    """One kit: when it is or could be ready, until when it is good, whether it is out already.

    ``use_by`` None: no limit known. ``left``: seconds that a kit in the fridge may yet be out, None for no limit.
    """

    ready: int
    use_by: int | None
    out: bool
    left: int | None = None


def serves(option: Option, want: Want) -> bool:
    """True where the kit can serve the booking: the rule itself, one pair at a time."""
    if option.ready > want.start or (option.use_by is not None and option.use_by < want.end):
        return False
    return option.out or (want.out_for is not None and (option.left is None or option.left >= want.out_for))


def assignment(wants: Sequence[Want], options: Sequence[Option]) -> list[int | None]:
    """For each want the position of its kit in ``options``, or None: a largest assignment, ties as said above."""
    lefts = _lefts(options)
    # Kits that may choose take the bookings first that fewest others can serve: it saves most of the moving about.
    kits = Pairing([_want_as_post(w, lefts) for w in wants], by_group=True)
    by_use = sorted(range(len(options)), key=lambda k: _use_order(options[k], k))
    used = [k for k in by_use if kits.seat(k, _option_as_seeker(options[k], lefts))]
    pairs = Pairing([_as_post(options[k], lefts) for k in used])
    spans = [(w.start, w.end) for w in wants]
    for i in sorted(range(len(wants)), key=spans.__getitem__):
        pairs.seat(i, _as_seeker(wants[i], lefts))
    return [None if (post := pairs.post_of.get(i)) is None else used[post] for i in range(len(wants))]


class Spare:
    """What an assignment leaves over: could so many more bookings be served without unserving one?"""

    def __init__(self, wants: Sequence[Want], options: Sequence[Option], given: Sequence[int | None]) -> None:
        self._options = options
        self._lefts = _lefts(options)
        self._pairs = Pairing([_as_post(o, self._lefts) for o in options])
        for i, post in enumerate(given):
            if post is not None:
                self._pairs.seat(i, _as_seeker(wants[i], self._lefts), post)

    def takes(self, want: Want, number: int = 1) -> bool:
        """True where ``number`` such bookings more would raise the largest assignment by ``number``."""
        pairs = self._pairs.copy()
        seeker = _as_seeker(want, self._lefts)
        return all(pairs.seat(-1 - n, seeker) for n in range(number))

    def idle_out(self, want: Want, number: int = 1) -> bool:
        """True where ``number`` kits that are out and given to nobody would serve such a booking."""
        idle = (o for k, o in enumerate(self._options) if o.out and not self._pairs.has(k))
        return sum(serves(o, want) for o in idle) >= number


def _lefts(options: Iterable[Option]) -> list[int]:
    """The different lengths of time that kits in the fridge may yet be out, longest first."""
    return sorted({_limit(o.left) for o in options if not o.out}, reverse=True)


def _limit(seconds: int | None) -> int:
    return FOREVER if seconds is None else seconds


def _use_order(option: Option, position: int) -> tuple[bool, int, int, int]:
    """Kits already out come first, then those that expire first."""
    return (not option.out, _limit(option.use_by), option.ready, position)


def _reach(want: Want, lefts: Sequence[int]) -> int:
    """How many of ``lefts`` are long enough for the want: a prefix, since they are sorted."""
    return 0 if want.out_for is None else sum(left >= want.out_for for left in lefts)


# Kits that are out are group 0, kits in the fridge group 1 + the position of their time left. Bookings are grouped
# by how many of these times reach them, so that who may take whom is a range from either side.


def _as_seeker(want: Want, lefts: Sequence[int]) -> Seeker:
    return (want.end, want.start, range(_reach(want, lefts) + 1))


def _as_post(option: Option, lefts: Sequence[int]) -> Post:
    return (_limit(option.use_by), option.ready, 0 if option.out else 1 + lefts.index(_limit(option.left)))


def _option_as_seeker(option: Option, lefts: Sequence[int]) -> Seeker:
    least = 0 if option.out else 1 + lefts.index(_limit(option.left))
    return (option.ready, _limit(option.use_by), range(least, len(lefts) + 1))


def _want_as_post(want: Want, lefts: Sequence[int]) -> Post:
    return (want.start, want.end, _reach(want, lefts))
