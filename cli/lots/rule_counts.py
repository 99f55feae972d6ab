"""What counts by a house rule, find by find, each with one reason; and how many animals that is.

Only what is known is judged. A find lacks a size, say, and the rule asks from a size on: it neither counts nor not, and is listed apart.

How many there are is a range. Of a colony a person said two numbers. Marks on several photographs of one piece may be one animal unless
somebody linked them, so at least as many are there as are linked to different animals, and as one photograph shows at once; at most all.
Two marks on one photograph are two animals, but a part without a head may belong to any other (common practice, no source).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import StrEnum

from cli.lots import rule_words as words
from cli.lots.rule import Colonies, Counting, HouseRule, Seen
from cli.lots.rule_text import RuleError, check_among, check_whole, folded, listed, named, shown
from cli.review.answers import BASES, BODIES, COLONY, UNAIDED
from vision.names import DISTINCT

NO_SIZE = "can't be judged by this rule: no size"
_MOST_ANIMALS = 1_000_000
_STANDARD_UNCERTAINTIES = 2
"""About 95 of 100 true sizes lie so near (GUM, 6.3.3)."""
_MAY_BELONG = "part"
_PARTS = frozenset({"part", "part_with_head"})


class Verdict(StrEnum):
    """What a rule says of a find."""

    COUNTS = "counts"
    NOT = "does_not_count"
    NOT_JUDGED = "not_judged"


@dataclass(frozen=True)
class Find:
    """One mark that a person answered to be an insect. What was not said is ''. Raises RuleError for what no answer can say."""

    name: str
    """Which, for the list: 'shot a.jpg, flag 3'."""
    kind: str = ""
    body: str = ""
    length_mm: float | None = None
    unaided: str = ""
    basis: str = ""
    least: int | None = None
    """Of a colony: how many at least and at most."""
    most: int | None = None
    animal: str = ""
    """Marks that somebody linked as one animal have the same word here; different words are different animals."""
    shot: str = ""
    """The photograph: two marks on one are two animals. '' where there is none."""
    place: str = ""
    """The piece or sample: marks at two places are two animals. '' where not known."""
    size_uncertainty: float | None = None
    """Relative standard uncertainty of the length, where known."""

    def __post_init__(self) -> None:
        check_among("body", self.body, (*BODIES, ""))
        check_among("basis", self.basis, (*BASES, ""))
        check_among("unaided", self.unaided, (*UNAIDED, ""))
        for name, value in (("length_mm", self.length_mm), ("size_uncertainty", self.size_uncertainty)):
            if value is not None and not 0 <= value < float("inf"):
                raise RuleError(
                    f"{name} of a find is a number from 0 up, not {shown(value)}; None where it is not known."
                )
        if self.body != COLONY:
            if self.least is not None or self.most is not None:
                raise RuleError("Only a colony has a least and a most: any other mark is one animal.")
            return
        check_whole("least of a colony", self.least, 1, _MOST_ANIMALS)
        check_whole("most of a colony", self.most, self.least or 1, _MOST_ANIMALS)


@dataclass(frozen=True)
class Judged:
    """A find and what the rule says of it; the reason stands after the find's name in a sentence."""

    find: Find
    verdict: Verdict
    reason: str


@dataclass(frozen=True)
class Counted:
    """Animals that count by the rule: at least, at most; and how many more there may be among the finds that can't be judged."""

    least: int
    most: int
    not_judged: int
    finds: tuple[Judged, ...]
    """In the order in which they were given."""
    digest: str
    """Of the rule that was read."""


def counted(rule: HouseRule, finds: Iterable[Find]) -> Counted:
    """What counts by the rule, what does not and why, and what can't be judged.

    Linked marks are judged as one animal: what one of them shows is known of it.
    """
    given = list(finds)
    animals: dict[object, list[int]] = defaultdict(list)
    for at, find in enumerate(given):
        animals[find.animal or at].append(at)
    said: dict[int, Judged] = {}
    counting: list[_Animal] = []
    not_judged = 0
    for marks in animals.values():
        animal = _Animal(rule.counting, [given[at] for at in marks])
        verdict, reason = animal.judged()
        said |= {at: Judged(given[at], verdict, reason) for at in marks}
        if verdict == Verdict.COUNTS:
            counting.append(animal)
            once = f"is the same animal as {named(given[marks[0]].name)}, which is counted once"
            said |= {at: Judged(given[at], Verdict.NOT, once) for at in marks[1:]}
        elif verdict == Verdict.NOT_JUDGED:
            not_judged += animal.numbers()[1]
    most = sum(animal.numbers()[1] for animal in counting)
    return Counted(_least(counting), most, not_judged, tuple(said[at] for at in range(len(given))), rule.digest)


@dataclass(frozen=True)
class _Animal:
    """The marks of one animal or colony, one where it is not linked."""

    counting: Counting
    marks: list[Find]

    def judged(self) -> tuple[Verdict, str]:
        """What the rule says: what speaks against it first, then what is not known."""
        unknown = ""
        for question in _QUESTIONS:
            answers = [question(self.counting, find) for find in self.marks]
            if any(answer is True for answer, _ in answers):
                continue
            if all(answer is False for answer, _ in answers):
                return Verdict.NOT, answers[0][1]
            unknown = unknown or next(reason for answer, reason in answers if answer is None)
        return (Verdict.NOT_JUDGED, unknown) if unknown else (Verdict.COUNTS, "counts by this rule")

    def numbers(self) -> tuple[int, int]:
        """How many it stands for, at least and at most, by the marks of a body that counts."""
        numbers = [_numbers(self.counting, find) for find in self.marks if _body(self.counting, find)[0] is not False]
        return max(least for least, _ in numbers), max(most for _, most in numbers)

    @property
    def is_linked(self) -> bool:
        return bool(self.marks[0].animal)

    @property
    def may_belong(self) -> bool:
        """Whether it may be a piece of any other that is counted."""
        return not self.is_linked and self.marks[0].body == _MAY_BELONG


def _numbers(counting: Counting, find: Find) -> tuple[int, int]:
    if find.least is None or find.most is None:
        return 1, 1
    least = find.most if counting.colonies == Colonies.MOST else find.least
    most = find.least if counting.colonies == Colonies.LEAST else find.most
    return least, most


def _least(animals: list[_Animal]) -> int:
    """The smallest number of animals that can have left all these marks."""
    linked, of_places = 0, defaultdict[str, int](int)
    shown_at: dict[str, dict[object, int]] = defaultdict(lambda: defaultdict(int))
    for at, animal in enumerate(animals):
        least = 0 if animal.may_belong else animal.numbers()[0]
        place = animal.marks[0].place
        if animal.is_linked:
            linked += least
            of_places[place] += least
        # A mark without a photograph may be any other's.
        for shot in {mark.shot or at for mark in animal.marks}:
            shown_at[place][shot] += least
    for place, shots in shown_at.items():
        of_places[place] = max(of_places[place], *shots.values())
    nowhere = of_places.pop("", 0)
    return max(linked, nowhere, sum(of_places.values()), 1 if animals else 0)


Answer = tuple[bool | None, str]
"""Whether a find is what the rule counts as far as one question goes, None where that is not known; and the reason where it is not True."""


def _body(counting: Counting, find: Find) -> Answer:
    if not find.body:
        return counting.bodies == set(
            BODIES
        ) or None, "can't be judged by this rule: no word on what of the animal it is"
    return find.body in counting.bodies, f"does not count by this rule: it is {words.BODIES[find.body]}"


def _kind(counting: Counting, find: Find) -> Answer:
    if not counting.kinds:
        return True, ""
    wanted = f"this rule counts {listed([named(kind) for kind in counting.kinds])}"
    if not folded(find.kind):
        return None, f"can't be judged by this rule: no kind, and {wanted}"
    if folded(find.kind) in map(folded, counting.kinds):
        return True, ""
    # Two names of distinct animals are two animals. Any other name may be another word, or a narrower one, for a kind that counts.
    if {folded(find.kind), *map(folded, counting.kinds)} <= DISTINCT:
        return False, f"does not count: its kind is {find.kind}, and {wanted}"
    return None, f"can't be judged by this rule: whether {named(find.kind)} is among them is not said, and {wanted}"


def _basis(counting: Counting, find: Find) -> Answer:
    if not find.basis:
        return counting.basis == set(BASES) or None, "can't be judged by this rule: no word on how it was looked at"
    enough = " or ".join(words.BASES[each] for each in BASES if each in counting.basis)
    return find.basis in counting.basis, (
        f"does not count by this rule: it was looked at {words.BASES[find.basis]}, and the rule asks for {enough}"
    )


def _seen(counting: Counting, find: Find) -> Answer:
    if counting.seen == Seen.ANY or find.unaided == "yes":
        return True, ""
    if find.unaided == "no":
        return False, "does not count by this rule: it was not seen without a loupe"
    return None, "can't be judged by this rule: nobody tried to see it without a loupe, or said so"


def _length(counting: Counting, find: Find) -> Answer:
    limit, length = counting.from_length_mm, find.length_mm
    if limit is None:
        return True, ""
    if find.body == COLONY:
        return None, f"{NO_SIZE} of its animals, as a colony's mark has only its own"
    if length is None:
        return None, NO_SIZE
    off_mm = _STANDARD_UNCERTAINTIES * (find.size_uncertainty or 0) * length
    if off_mm and abs(length - limit) <= off_mm:
        return None, (
            f"can't be judged by this rule: its length, {length:g} mm, may be {off_mm:.2g} mm off, and it counts from {limit:g} mm"
        )
    if length < limit and find.body in _PARTS:
        return (
            None,
            f"can't be judged by this rule: a part of {length:g} mm is of a longer animal, and it counts from {limit:g} mm",
        )
    return (
        length >= limit,
        f"does not count by this rule: it is {length:g} mm long, and the rule counts from {limit:g} mm",
    )


_QUESTIONS: tuple[Callable[[Counting, Find], Answer], ...] = (_body, _kind, _basis, _seen, _length)
