"""Which lots a maker's notice means: named one by one, from one code to another, or by their expiry.

Codes are compared sign by sign: capitals and length count, so that 3C001 is neither 3c001 nor 3C0011.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from stockroom.core.records import Lot
from stockroom.errors import Refused


@dataclass(frozen=True, slots=True)
class Notice:
    """What a maker's notice says about one product. ``first`` and ``last``: a range of codes, both ends included;
    ``from_day`` and ``to_day``: a range of expiries, likewise. With none of these and no codes, every lot is meant.
    """

    product: str
    codes: tuple[str, ...] = ()
    first: str | None = None
    last: str | None = None
    from_day: date | None = None
    to_day: date | None = None
    text: str | None = None

    def checked(self) -> "Notice":
        """Itself. Raises: Refused for half a range of codes, or one whose ends cannot be compared."""
        if (self.first is None) != (self.last is None):
            raise Refused("half-a-range", "a range of lots has two ends", "give --from LOT and --to LOT")
        if self.first is not None and self.last is not None:
            if len(self.first) != len(self.last):
                what = f'"{self.first}" and "{self.last}" differ in length: which lots lie between them is not sure'
                raise Refused("uneven-range", what, "name the lots one by one")
            if self.first > self.last:
                raise Refused("bad-range", f'"{self.first}" comes after "{self.last}"', "give the lower one first")
        if self.from_day is not None and self.to_day is not None and self.from_day > self.to_day:
            raise Refused("bad-range", f"{self.from_day} comes after {self.to_day}", "give the earlier day first")
        return self

    def means(self, lot: Lot) -> bool:
        """True for a lot that it names in any of its ways. A lot of unknown expiry is meant by any range of expiries:
        nobody knows that it is not.
        """
        if lot.product != self.product:
            return False
        ways = (bool(self.codes), self.first is not None, self.from_day is not None or self.to_day is not None)
        if not any(ways):
            return True
        in_range = (
            self.first is not None and self.last is not None
            and len(lot.code) == len(self.first) and self.first <= lot.code <= self.last
        )  # fmt: skip
        return lot.code in self.codes or in_range or (ways[2] and self._by_day(lot))

    def _by_day(self, lot: Lot) -> bool:
        days: Sequence[date | None] = lot.stated or (None,)
        return any(
            day is None
            or ((self.from_day is None or day >= self.from_day) and (self.to_day is None or day <= self.to_day))
            for day in days
        )


def lookalikes(code: str, others: Iterable[str]) -> list[str]:
    """Codes that differ from one only by capitals, by blanks and strokes, or by signs that are read for one another."""
    return sorted(other for other in others if other != code and _blurred(other) == _blurred(code))


def _blurred(code: str) -> str:
    plain = "".join(sign for sign in code.upper() if sign.isalnum())
    return plain.translate(str.maketrans("OIZSB", "01258"))
