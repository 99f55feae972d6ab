"""What two runs' tables have in common, as values and in words.

What may differ is what holds across machines: candidates whose score lies next to a cut, each number by one unit of its last printed
digit. The places that candidates take in the list follow from their scores and are not judged by themselves.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import takewhile

from cli.batch.agree_rows import FAR, Apart
from cli.words import count, printable

NEAR = Decimal("0.001")
"""How far from a cut a score may lie for another machine to list the candidate, or not to."""

_EXPLAINED = 3
_EXCERPT = 60


@dataclass(frozen=True)
class Some:
    """How many there are, and what the first of them are called."""

    number: int = 0
    first: tuple[str, ...] = ()

    def __str__(self) -> str:
        more = self.number - len(self.first)
        return ", ".join(self.first) + (f" and {more} more" if more else "")


@dataclass(frozen=True)
class Differing:
    """How many cells of a column differ, and the two that lie furthest apart."""

    number: int
    shot: str
    candidate: str
    """Its number in the earlier table; '' in shots.csv."""
    apart: Apart

    def __str__(self) -> str:
        before, after = _shown(self.apart.before, self.apart.after), _shown(self.apart.after, self.apart.before)
        where = printable(self.shot) + (f" candidate {self.candidate}" if self.candidate else "")
        worst = "" if self.number == 1 else ", most" if self.apart.units != FAR else ", as"
        return f"{self.apart.column.name} in {count(self.number, 'cell')}{worst} on {where}: {before} then, {after} now"


@dataclass(frozen=True)
class Agreement:
    """What two runs' tables have in common. Columns are called by table and name: `candidates.score`."""

    same_bytes: bool
    runs: tuple[str, str]
    shots: int = 0
    """How many were compared."""
    matched: int = 0
    """Candidates that both have."""
    missing_shots: Some = Some()
    added_shots: Some = Some()
    other_bytes: Some = Some()
    """Shots of one name whose files differ."""
    scored_once: Some = Some()
    """Shots that failed, or were another's twin, in only one of the runs."""
    missing_near: Some = Some()
    """Candidates next to a cut that only the earlier tables have."""
    missing_elsewhere: Some = Some()
    added_near: Some = Some()
    added_elsewhere: Some = Some()
    renumbered: int = 0
    """Candidates that take another place in the list."""
    within: Mapping[str, int] = field(default_factory=dict)
    """Cells that differ by at most one unit of the last printed digit, by column."""
    beyond: Mapping[str, Differing] = field(default_factory=dict)
    """Numbers that differ by more, by column."""
    texts: Mapping[str, Differing] = field(default_factory=dict)
    """Texts that differ, by column."""

    @property
    def holds(self) -> bool:
        """Whether the tables agree at least as far as those of two machines must."""
        return not self._against()

    def lines(self) -> list[str]:
        """Two to ten sentences for a person: the verdict first, then what differs."""
        if self.same_bytes:
            return ["The tables agree byte for byte.", self._compared()]
        if self.holds:
            verdict = "The tables agree as far as another machine's may: "
            verdict += ", ".join(self._allowed()) or "no cell that is compared differs"
        else:
            verdict = "The tables do not agree: " + ", ".join(self._against())
        told = (
            ("Missing now", str(self.missing_shots)),
            ("Only now", str(self.added_shots)),
            ("Other bytes under the same name, so not compared", str(self.other_bytes)),
            ("Scored in one of the two only, so not compared", str(self.scored_once)),
            ("Candidates away from the cut", _come_and_gone(self.missing_elsewhere, self.added_elsewhere)),
            ("Numbers too far apart", _explained(self.beyond)),
            ("Texts that differ", _explained(self.texts)),
            ("Candidates next to the cut", _come_and_gone(self.missing_near, self.added_near)),
        )
        return [f"{verdict}.", self._compared(), *(f"{what}: {which}." for what, which in told if which)]

    def _compared(self) -> str:
        then, now = self.runs
        what = f"Compared: {count(self.shots, 'shot')} and {count(self.matched, 'candidate')}"
        if then != now:
            return f"{what} of runs {then} and {now}: the version, a library, an option, the profile, the guide or the ranker differs."
        bytes_too = "" if self.same_bytes else ", so on one kind of machine the bytes should be the same, too"
        return f"{what}, both of run {then}{bytes_too}."

    def _against(self) -> list[str]:
        elsewhere = self.missing_elsewhere.number + self.added_elsewhere.number
        beyond, texts = (sum(each.number for each in columns.values()) for columns in (self.beyond, self.texts))
        return [
            f"{count(number, noun)} {what}"
            for number, noun, what in (
                (self.missing_shots.number, "shot", "missing now"),
                (self.added_shots.number, "shot", "only there now"),
                (self.other_bytes.number, "shot", "with other bytes"),
                (self.scored_once.number, "shot", "scored in one of the two only"),
                (elsewhere, "candidate", "away from the cut in one of the two only"),
                (beyond, "number", "more than one unit of the last digit apart"),
                (texts, "text", "not the same"),
            )
            if number
        ]

    def _allowed(self) -> list[str]:
        near = self.missing_near.number + self.added_near.number
        return [
            f"{count(number, noun)} {what}"
            for number, noun, what in (
                (near, "candidate", f"within {NEAR} of the cut in one of the two only"),
                (sum(self.within.values()), "cell", "one unit of the last digit apart"),
                (self.renumbered, "candidate", "with another number"),
            )
            if number
        ]


def _come_and_gone(gone: Some, come: Some) -> str:
    parts = (("missing now", gone), ("only now", come))
    return "; ".join(f"{some.number} {what}, {some}" for what, some in parts if some.number)


def _explained(columns: Mapping[str, Differing]) -> str:
    """The columns that lie furthest apart in words, the rest by name."""
    worst = sorted(columns.items(), key=lambda item: (-item[1].apart.units, -item[1].number, item[0]))
    told = [str(each) for _, each in worst[:_EXPLAINED]]
    rest = ", ".join(name.split(".")[1] for name, _ in worst[_EXPLAINED:])
    return "; ".join([*told, *([f"also {rest}"] if rest else [])])


def _shown(cell: str, other: str) -> str:
    """A cell, or of a long one the part where it differs from the other."""
    alike = sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], zip(cell, other, strict=False)))
    begin = max(0, alike - _EXCERPT // 3) if max(len(cell), len(other)) > _EXCERPT else 0
    part = printable(cell[begin : begin + _EXCERPT])
    dots = "…" if begin + _EXCERPT < len(cell) else ""
    return f"{'…' if begin else ''}{part}{dots}" or "nothing"
