"""How many procedures the stock covers, against doing them one after the other until something is missing."""

from hypothesis import given
from hypothesis import strategies as st

from stockroom.core.coverage import Coverage, coverage
from stockroom.core.practice import Procedure, Product, Use
from stockroom.core.usage import used_by

CODES = ("K", "S", "T")


def product(code: str, contains: tuple[tuple[str, int], ...] = ()) -> Product:
    return Product(code, code, "kit" if code == "K" else "supply", "x", contains=contains)


PRODUCTS = {"K": product("K", (("S", 4),)), "S": product("S"), "T": product("T")}
WHITE = Procedure("white", 45, 10, 6, 8, 2, (Use("K", 1), Use("S", 0, 2, 1), Use("T", 2)))


def test_the_scarcest_product_decides() -> None:
    # derived: six cycles take 3 + 1 swabs, which the kit holds: only kits and two T each count
    assert coverage(WHITE, PRODUCTS, {"K": 5, "T": 7}) == Coverage(3, ("T",))
    assert coverage(WHITE, PRODUCTS, {"K": 5, "T": 11}) == Coverage(5, ("K", "T"))
    assert coverage(WHITE, PRODUCTS, {"T": 11}) == Coverage(0, ("K",))
    # eight cycles take 5: one from the cupboard for each, although the kits hold 4
    eight = Procedure("white8", 45, 10, 8, 8, 2, WHITE.uses)
    assert coverage(eight, PRODUCTS, {"K": 5, "T": 20, "S": 2}) == Coverage(2, ("S",))
    # owed pieces cover nothing; a procedure that takes nothing has no limit
    assert coverage(WHITE, PRODUCTS, {"K": 5, "T": -2}) == Coverage(0, ("T",))
    assert coverage(Procedure("look", 20), PRODUCTS, {"K": 5}) == Coverage(None, ())


uses = st.builds(Use, st.sampled_from(CODES), st.integers(0, 3), st.none() | st.integers(1, 3), st.integers(0, 2))


@given(
    st.lists(uses, min_size=1, max_size=4),
    st.integers(0, 8),
    st.integers(0, 5),
    st.fixed_dictionaries({c: st.integers(0, 25) for c in CODES}),
)
def test_it_is_what_can_be_done_one_after_the_other(uses, cycles, inside, pieces) -> None:
    products = {**PRODUCTS, "K": product("K", (("S", inside),))}
    procedure = Procedure("p", 10, 0, cycles, 9, 1, tuple(uses))
    found = coverage(procedure, products, pieces)
    each = used_by(procedure, None, products)
    left, done = dict(pieces), 0
    while done < 30:
        # by the rule of one booking: kits, and of what they hold only the rest from the cupboard
        want = {}
        for code, n in each.gross.items():
            packed = inside * each.gross.get("K", 0) if code == "S" else 0
            want[code] = max(0, n - packed)
        short = {code for code, n in want.items() if n > left[code]}
        if short:
            break
        left = {code: n - want.get(code, 0) for code, n in left.items()}
        done += 1
    if done == 30:
        assert found == Coverage(None, ())  # nothing is taken, for no product has 30 pieces
    else:
        assert (found.procedures, set(found.bottleneck)) == (done, short)
