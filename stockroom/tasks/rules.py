"""The rules in force: the practice file that ruled at an instant, and the opening hours with every exception."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from zoneinfo import ZoneInfo

from stockroom.core.opening import DayException, Opening
from stockroom.core.practice import Practice
from stockroom.core.stock import FOREVER
from stockroom.errors import DatabaseError, Refused, unknown
from stockroom.formats.practice_file import read_practice
from stockroom.store import Link, practices
from stockroom.store.once import once

RECORDED_FILE = "the practice file on record"


@dataclass(frozen=True, slots=True)
class Rules:
    """A practice and its opening hours by site, as they ruled at one instant."""

    practice: Practice
    openings: Mapping[str, Opening]

    @property
    def zone(self) -> ZoneInfo:
        """The practice's own time zone."""
        return ZoneInfo(self.practice.timezone)

    def opening(self, site: str) -> Opening:
        """The hours of a site (of the first one where the name is not known any more)."""
        return self.openings.get(site) or next(iter(self.openings.values()))

    def site(self, wanted: str | None) -> str:
        """The site that a record belongs to. Raises: Refused where it could mean more than one."""
        names = [s.name for s in self.practice.sites]
        if wanted is None:
            if len(names) > 1:
                raise Refused(
                    "which-site", "this could mean more than one site", "add --site " + " or --site ".join(names)
                )
            return names[0]
        if wanted not in names:
            raise unknown("unknown-site", "site", wanted, [n for n in names if n])
        return wanted

    def sites(self, wanted: str | None) -> list[str]:
        """The sites that a look is about: the one named, else all."""
        return [s.name for s in self.practice.sites] if wanted is None else [self.site(wanted)]


@lru_cache(maxsize=8)
def _read(text: str) -> Practice:
    return read_practice(text, RECORDED_FILE)


def spans(conn: Link) -> list[tuple[int, int, Practice]]:
    """(from, until, practice) for every span of time that one practice file ruled, in order."""
    return once(conn, "spans", lambda: _spans(conn))


def _spans(conn: Link) -> list[tuple[int, int, Practice]]:
    found = practices.versions(conn)
    starts = [-FOREVER if v is None else v for v, _ in found]
    ends = [*starts[1:], FOREVER]
    return [(a, b, _read(text)) for a, b, (_, text) in zip(starts, ends, found, strict=True) if a < b]


def text_in_force(conn: Link, at: int = FOREVER) -> str:
    """The text of the practice file that ruled at ``at``."""
    found = practices.versions(conn)
    if not found:
        raise DatabaseError(
            "no-practice", "the database holds no practice", "make another with: stockroom init PRACTICE.toml"
        )
    texts = [text for valid_from, text in found if valid_from is None or valid_from <= at]
    return texts[-1] if texts else found[0][1]


def rules(conn: Link, at: int = FOREVER) -> Rules:
    """What ruled at ``at``: the practice file in force and the days closed or opened by then."""
    practice = _read(text_in_force(conn, at))
    exceptions = practices.day_exceptions(conn, at)
    return Rules(practice, {site.name: opening_of(practice, site.name, exceptions) for site in practice.sites})


def opening_of(practice: Practice, name: str, exceptions: Sequence[tuple[str, DayException]]) -> Opening:
    """The hours of a site (of the first one where the name is not known any more), with (site, exception) applied."""
    site = next((s for s in practice.sites if s.name == name), practice.sites[0])
    return Opening(practice.timezone, site, tuple(e for s, e in exceptions if s == site.name))


def practice_at(rule_spans: Sequence[tuple[int, int, Practice]], at: int) -> Practice:
    """The practice that ruled at an instant."""
    return next((p for a, b, p in rule_spans if a <= at < b), rule_spans[-1][2])
