"""What is worth saying of a shot when it is done, and the same of many, counted as they come."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from cli.batch.belonging import BLANK
from cli.batch.standing import LOG
from cli.words import count, printable
from vision.table import SHOTS, unescape
from vision.words import NONE_FLAGGED, WHO_DECIDES

_COLUMN = {column.name: number for number, column in enumerate(SHOTS)}
_NAMED = 10
"""So many shots are named in a closing line; the table has the rest."""


@dataclass(frozen=True)
class ShotTold:
    """What is worth saying of one shot when it is done."""

    shot: str
    flags: int
    usable: bool = True
    reasons: str = ""
    error: str = ""
    duplicate_of: str = ""
    blank: bool = False
    """A shot of the wiped tray: what is on it is counted apart."""
    left_out: int = 0
    """How many more the limit on flags left out."""
    limit_round_mm: str = ""
    """The smallest round speck it could have shown, as the table has it; '' where that is not known."""
    limit_linear_mm: str = ""
    unsearched_pct: str = ""
    """How much of the picture could not be searched, as the table has it."""
    instruction: str = ""
    """The one thing to change first, also where the shot can be kept; `reasons` begins with it."""
    said: str = ""
    """What its sources say differently of where it belongs; those fields are empty."""

    @property
    def line(self) -> str:
        """One line for it."""
        shot = printable(self.shot)
        if self.error:
            return f"{shot}: {self.error}"
        if self.duplicate_of:
            return f"{shot}: the same picture as {printable(self.duplicate_of)}, not scored again"
        more = f", {self.left_out} more left out by --max-flags" if self.left_out else ""
        return f"{shot}: {self.flags} flagged{more}" + ("" if self.usable else f"; take again: {self.reasons}")


def told_of(row: Sequence[str], flags: int, left_out: int = 0, instruction: str = "", said: str = "") -> ShotTold:
    """What is worth saying of a row of shots.csv."""

    def cell(name: str) -> str:
        return row[_COLUMN[name]]

    return ShotTold(
        shot=unescape(cell("shot")),
        flags=flags,
        usable=cell("usable") != "no",
        reasons=unescape(cell("reasons")),
        error=unescape(cell("error")),
        duplicate_of=unescape(cell("duplicate_of")),
        blank=cell("view") == BLANK,
        left_out=left_out,
        limit_round_mm=cell("limit_round_mm"),
        limit_linear_mm=cell("limit_linear_mm"),
        unsearched_pct=cell("unsearched_pct"),
        instruction=instruction,
        said=said,
    )


class Tally:
    """Shots counted as they are done. Of the shots themselves it keeps the first few names of each sort."""

    def __init__(self, told: Iterable[ShotTold] = ()) -> None:
        self.shots = self.scored = self.duplicates = 0
        self.kept = 0
        """How many of them stood already."""
        self.flags = self.flags_on_blanks = 0
        self.left_out = 0
        """How many more flags the limit left out."""
        self.left_out_shots = 0
        self.of_produce = 0
        """Shots of produce, or of what came off it, that gave a result."""
        self.flagged = 0
        """How many of these had a flag."""
        self.failed = self.take_again = 0
        self.unlisted: list[str] = []
        """Sentences about folders that could not be looked into."""
        self.manifest: list[str] = []
        """Sentences about rows without a photograph, and photographs without a row."""
        self.contradicted = 0
        """Shots of which two sources say different things."""
        self._names: dict[str, list[str]] = {"failed": [], "take_again": [], "left_out": [], "contradicted": []}
        for shot in told:
            self.add(shot)

    def add(self, shot: ShotTold, kept: bool = False) -> None:
        """Counts one more."""
        self.shots += 1
        self.kept += kept
        self.left_out += shot.left_out
        self.left_out_shots += shot.left_out > 0
        self._sort("failed", shot, bool(shot.error))
        self._sort("take_again", shot, not shot.usable)
        self._sort("left_out", shot, bool(shot.left_out))
        self._sort("contradicted", shot, bool(shot.said))
        self.contradicted += bool(shot.said)
        self.failed += bool(shot.error)
        self.take_again += not shot.usable
        self.duplicates += bool(shot.duplicate_of)
        if shot.blank:
            self.flags_on_blanks += shot.flags
        else:
            self.flags += shot.flags
            self.flagged += shot.flags > 0
        if not shot.error and not shot.duplicate_of:
            self.scored += 1
            self.of_produce += not shot.blank

    def _sort(self, sort: str, shot: ShotTold, is_one: bool) -> None:
        if is_one and len(self._names[sort]) < _NAMED:
            self._names[sort].append(printable(shot.shot))

    @property
    def for_ten(self) -> float | None:
        """Flags on ten shots of produce or of what came off it, on average: on a sample."""
        return 10 * self.flags / self.of_produce if self.of_produce else None

    @property
    def is_whole(self) -> bool:
        """Whether everything the call meant could be read."""
        return not self.failed and not self.unlisted

    def counts(self) -> dict[str, int]:
        """The numbers, for the run record."""
        return {
            "shots": self.shots,
            "scored": self.scored,
            "kept": self.kept,
            "flagged": self.flags,
            "flagged_on_blanks": self.flags_on_blanks,
            "failed": self.failed,
            "duplicates": self.duplicates,
            "take_again": self.take_again,
            "left_out": self.left_out,
            "contradicted": self.contradicted,
        }

    def closing_lines(self) -> list[str]:
        """What stands at the end of every call."""
        lines = [
            f"{count(self.scored, 'shot')} scored, {count(self.flags, 'speck')} flagged on {self.flagged} of them."
        ]
        if not self.flags:
            lines[0] = f"{count(self.scored, 'shot')} scored. {NONE_FLAGGED}"
        elif self.for_ten is not None:
            lines.append(f"On average {count(round(self.for_ten), 'flag')} for a sample of ten shots.")
        if self.left_out:
            names = self._some("left_out", self.left_out_shots)
            lines.append(
                f"Left out by --max-flags: {self.left_out} more, on {names}. No table and no picture shows these."
            )
        if self.flags_on_blanks:
            lines.append(
                f"Apart from these: {count(self.flags_on_blanks, 'speck')} on blank shots, before any produce."
            )
        if self.kept:
            lines.append(f"{self.kept} of the {count(self.shots, 'file')} stood here from an earlier call.")
        if self.duplicates:
            lines.append(f"{count(self.duplicates, 'file')} not scored again: the same bytes as another.")
        if self.failed:
            lines.append(f"{count(self.failed, 'shot')} could not be scored: {self._some('failed', self.failed)}.")
        lines += self.unlisted
        if self.contradicted:
            names = self._some("contradicted", self.contradicted, LOG)
            shots = count(self.contradicted, "shot")
            lines.append(
                f"Slip, manifest.csv and folders say different things of {shots}, and those fields stay empty "
                f"({LOG} has each): {names}."
            )
        lines += self.manifest
        if self.take_again:
            names = self._some("take_again", self.take_again)
            lines.append(f"{count(self.take_again, 'shot')} should be taken again: {names}.")
        return [*lines, WHO_DECIDES]

    def _some(self, sort: str, of: int, where: str = "shots.csv") -> str:
        names = self._names[sort]
        more = f" and {of - len(names)} more (see {where})" if of > len(names) else ""
        return ", ".join(names) + more
