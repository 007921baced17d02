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
from typing import NamedTuple

from stockroom.core.pairing import Pairing, Posts, Seekers, in_order

FOREVER = 1 << 61
"""Stands for a limit that is not known."""


class Want(NamedTuple):
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
    starts, ends, reaches = _want_columns(wants, lefts)
    readies, limits, groups = _option_columns(options, lefts)
    by_use = in_order([group > 0 for group in groups], limits, readies)
    # Kits that may choose take the bookings first that fewest others can serve: it saves most of the moving about.
    kits = Pairing(Posts(starts, ends, reaches), Seekers(readies, limits, groups, upwards=True))
    used = kits.seated(by_use, len(wants))
    posts = Posts([limits[k] for k in used], [readies[k] for k in used], [groups[k] for k in used])
    pairs = Pairing(posts, Seekers(ends, starts, reaches, upwards=False))
    pairs.seated(in_order(starts, ends), len(used))
    given: list[int | None] = [None] * len(wants)
    for i, post in pairs.posts_taken().items():
        given[i] = used[post]
    return given


class Spare:
    """What an assignment leaves over: could so many more bookings be served without unserving one?"""

    def __init__(self, wants: Sequence[Want], options: Sequence[Option], given: Sequence[int | None]) -> None:
        used = {k for k in given if k is not None}
        self._idle_out = [option for k, option in enumerate(options) if option.out and k not in used]
        self._lefts = _lefts(options)
        starts, ends, reaches = _want_columns(wants, self._lefts)
        readies, limits, groups = _option_columns(options, self._lefts)
        self._pairs = Pairing(Posts(limits, readies, groups), Seekers(ends, starts, reaches, upwards=False))
        self._pairs.seat_as_given((i, k) for i, k in enumerate(given) if k is not None)
        self._wants = len(wants)

    def take(self, want: Want) -> bool:
        """Serve one more for good; False, and nothing changes, where that would unserve another."""
        self._wants += 1
        return self._pairs.seat_one_more(want.end, want.start, _reach(want, self._lefts))

    def can_do_without(self, option: int) -> bool:
        """True where nobody would be unserved if one of the options, by its position, were gone."""
        return self._pairs.can_do_without(option)

    def take_away(self, option: int) -> bool:
        """An option goes for good; False, and nothing changes, where that would unserve somebody."""
        return self._pairs.take_away(option)

    def takes(self, want: Want, number: int = 1) -> bool:
        """True where ``number`` such bookings more would raise the largest assignment by ``number``."""
        if number == 1:
            return self._pairs.has_room(want.end, want.start, _reach(want, self._lefts))
        pairs = self._pairs.with_more(want.end, want.start, _reach(want, self._lefts), number)
        return all(pairs.seat(self._wants + n) for n in range(number))

    def idle_out(self, want: Want, number: int = 1) -> bool:
        """True where ``number`` kits that are out and given to nobody would serve such a booking."""
        return sum(serves(option, want) for option in self._idle_out) >= number


# Kits that are out are group 0, kits in the fridge group 1 + the position of their time left. Bookings are grouped
# by how many of these times reach them, so that who may take whom is "this group and those below", or above.

Columns = tuple[list[int], list[int], list[int]]


def _lefts(options: Iterable[Option]) -> list[int]:
    """The different lengths of time that kits in the fridge may yet be out, longest first."""
    return sorted({_limit(o.left) for o in options if not o.out}, reverse=True)


def _limit(seconds: int | None) -> int:
    return FOREVER if seconds is None else seconds


def _reach(want: Want, lefts: Sequence[int]) -> int:
    """How many of ``lefts`` are long enough for the want: the first ones, since they are sorted."""
    return 0 if want.out_for is None else sum([left >= want.out_for for left in lefts])


def _want_columns(wants: Sequence[Want], lefts: Sequence[int]) -> Columns:
    """Starts, ends, and how many of ``lefts`` reach."""
    reaches: dict[int | None, int] = {}
    for w in wants:
        if w.out_for not in reaches:
            reaches[w.out_for] = _reach(w, lefts)
    return [w.start for w in wants], [w.end for w in wants], [reaches[w.out_for] for w in wants]


def _option_columns(options: Sequence[Option], lefts: Sequence[int]) -> Columns:
    """When ready, until when good, and the group."""
    groups = [0 if o.out else 1 + lefts.index(_limit(o.left)) for o in options]
    return [o.ready for o in options], [_limit(o.use_by) for o in options], groups
