"""What a person is told of a kit that is out and that no booking uses: until when it is good, and what would save it."""

from dataclasses import dataclass

from stockroom.core.records import Finding
from stockroom.core.usage import used_by
from stockroom.core.warmup import ONLY_HOURS, Unused
from stockroom.core.when import local_text
from stockroom.tasks.rules import Rules


@dataclass(frozen=True, slots=True)
class InVain:
    """A kit that no booking uses, in words, and what could be typed, the nearest first (without the program's name)."""

    unused: Unused
    what: str
    steps: tuple[str, ...]

    @property
    def finding(self) -> Finding:
        """As it stands on a list of things to do."""
        todo, *others = [f"stockroom {step}" for step in self.steps] or [""]
        return Finding("kit-free", self.what, todo, urgent=True, others=tuple(others))


def in_vain(unused: Unused, rule: Rules, as_of: int) -> InVain:
    """The kit in words: a booking moves to it, it goes back where its product allows, or it is thrown away."""
    kit = unused.kit
    what = f"P-{kit.pull} ({kit.product} lot {kit.lot_code}) is out and no booking uses it"
    if unused.over:
        discard = f'stock discard --pull P-{kit.pull} --why "its time out of the fridge is over" --by INITIALS'
        return InVain(unused, f"{what}; its time is over", (discard,))
    if unused.use_by is not None:
        what += f"; use by {local_text(unused.use_by, rule.zone, as_of)}"
    opening = rule.opening(kit.site)
    steps = [f"booking move B-{n} --start {opening.typed(start)}" for n, start in unused.moves or ()]
    if unused.moves:
        what += f"; {_either([f'B-{n}' for n, _ in unused.moves])} could move to it ({ONLY_HOURS})"
    elif unused.moves is not None:
        what += "; no booking was found that could move to it"
    product = rule.practice.product(kit.product)
    if product is not None and product.returnable:
        what += "; it may go back into the fridge"
        steps.append(f"warmup back P-{kit.pull}")
    return InVain(unused, what, tuple(steps or _for_a_new_one(rule, kit.product)))


def _either(names: list[str]) -> str:
    """``B-1, B-2 or B-3``."""
    return " or ".join(filter(None, [", ".join(names[:-1]), names[-1]]))


def _for_a_new_one(rule: Rules, product: str) -> list[str]:
    """Where nothing else saves it: the times that could be offered to somebody new."""
    products = {p.code: p for p in rule.practice.products}
    uses = (p.code for p in rule.practice.procedures if product in used_by(p, None, products).gross)
    return [f"warmup when {code}" for code in uses][:1]
