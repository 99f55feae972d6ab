"""A scored folder as the desk shows it: its shots and their flags, in picture order. Read from the run's own ledger, so that what a
person wrote into a table never moves a flag."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

from cli.batch.ledger import Entry, Ledger
from cli.batch.standing import EARLIER, LEDGER, Standing, look
from cli.pages.names import shot_files_among
from cli.review.answers import SpeckId
from vision.errors import CallError
from vision.table import CANDIDATES, SHOTS, Column, unescape

STORE = "decisions.sqlite"
_PATH_NUMBER = re.compile(r"^\d+:")
_ROW_SHARE = 12
"""Rows in which a person reads a picture: its height over this."""


@dataclass(frozen=True)
class Flag:
    """One candidate. `cells` are its cells in candidates.csv by column name, texts as they were before they were escaped."""

    speck: SpeckId
    cells: Mapping[str, str]

    @property
    def x_px(self) -> float:
        return float(self.cells["x_px"])

    @property
    def y_px(self) -> float:
        return float(self.cells["y_px"])

    @property
    def box_px(self) -> tuple[int, int, int, int]:
        """Left, top, width, height of the upright box."""
        left, top, wide, high = (int(self.cells[name]) for name in ("left_px", "top_px", "wide_px", "high_px"))
        return left, top, wide, high


@dataclass(frozen=True)
class DeskShot:
    """One photograph. `cells` are its cells in shots.csv; `flags` stand in picture order: rows from the top, left to right."""

    cells: Mapping[str, str]
    picture: str
    """The copy without marks, relative to the folder."""
    picture_sha256: str
    """Of that copy as it was written; '' where the run did not note it."""
    flags: tuple[Flag, ...]
    facts: Mapping[str, str] = field(default_factory=dict)
    """What else it belongs to, as Entry has it."""
    said: tuple[str, ...] = ()
    """A sentence for each field that is left empty because its sources say different things."""

    @property
    def name(self) -> str:
        return self.cells["shot"]

    @property
    def sha256(self) -> str:
        return self.cells["shot_sha256"]

    @property
    def size_px(self) -> tuple[int, int]:
        return int(self.cells["width_px"]), int(self.cells["height_px"])

    @property
    def px_per_mm(self) -> float | None:
        return float(self.cells["px_per_mm"]) if self.cells["px_per_mm"] else None


@dataclass(frozen=True)
class Shelf:
    """All that a desk shows of one run."""

    folder: Path
    run: str
    version: str
    shots: tuple[DeskShot, ...]
    failed: Mapping[str, str] = field(default_factory=dict)
    """Shots that could not be scored, and why: they hold nothing to answer, and are told of."""
    twins: Mapping[str, str] = field(default_factory=dict)
    """Shots that are another one byte for byte: answered with it."""
    not_found: Mapping[str, str] = field(default_factory=dict)
    """Photographs that a manifest names and that were not there, and the lot of each; '' where nothing says."""
    finished: bool = True
    """False where the run was stopped, or is still at work."""

    @cached_property
    def by_sha256(self) -> dict[str, DeskShot]:
        return {shot.sha256: shot for shot in self.shots}

    @cached_property
    def flags(self) -> dict[SpeckId, Flag]:
        """Every flag by its key, in picture order."""
        return {flag.speck: flag for shot in self.shots for flag in shot.flags}


def read_shelf(folder: Path) -> Shelf:
    """What stands in a scored folder. Raises CallError where none of ours does; OSError where it can't be read."""
    if not folder.exists():
        raise CallError(f"{folder} is not there.")
    standing = look(folder) if folder.is_dir() else Standing(folder)
    if not standing.run:
        raise CallError(f"{folder} is no folder that `speckwise score` has written.")
    ledger = Ledger(folder / LEDGER, standing.run)
    entries = list(ledger)
    ledger.close()
    if not entries:
        raise CallError(f"{folder} holds a run without a single shot: score it first.")
    twins = {entry.shot: entry.duplicate_of for entry in entries if entry.duplicate_of}
    failed = {entry.shot: entry.error for entry in entries if entry.error}
    version = str(standing.record.get("version", ""))
    try:
        shots = tuple(_shot(entry) for entry in entries if not entry.error and not entry.duplicate_of)
    except (ValueError, KeyError):
        raise CallError(
            f"{folder} was written by version {version} of Speckwise, whose tables are others: review it there, or score again."
        ) from None
    # Another call into this folder may have found them.
    named_there = {entry.shot for entry in entries}
    there = named_there | {_PATH_NUMBER.sub("", shot) for shot in named_there}
    lost = {shot: lot for shot, lot in dict(standing.record.get("not_found", {})).items() if shot not in there}
    finished = bool(standing.record.get("finished", True))
    return Shelf(folder, standing.run, version, shots, failed, twins, lost, finished)


def store_beside(folder: Path) -> Path:
    """Where answers on a folder stand unless another store is named: beside the results; those of an earlier run with the newest."""
    parent = folder.resolve().parent
    return (parent.parent if parent.name == EARLIER and _is_run(parent.parent) else folder) / STORE


def _is_run(folder: Path) -> bool:
    standing: Standing = look(folder)
    return bool(standing.run)


def named(columns: Sequence[Column], row: Sequence[str]) -> dict[str, str]:
    """A row's cells by column name, texts as they were before they were escaped."""
    return {c.name: unescape(cell) if c.kind == "text" else cell for c, cell in zip(columns, row, strict=True)}


def picture_order(flags: Sequence[Flag], height_px: int) -> tuple[Flag, ...]:
    """Flags as a person reads a picture: rows from the top, from left to right within a row."""
    row_px = max(1.0, height_px / _ROW_SHARE)
    return tuple(sorted(flags, key=lambda f: (math.floor(f.y_px / row_px), f.x_px, f.speck.candidate)))


def _shot(entry: Entry) -> DeskShot:
    cells = named(SHOTS, entry.row)
    rows = [named(CANDIDATES, row) for row in entry.candidates]
    flags = [Flag(SpeckId(entry.sha256, entry.run, int(row["candidate"])), row) for row in rows]
    picture = shot_files_among(entry.files).unmarked
    in_order = picture_order(flags, int(cells["height_px"]))
    return DeskShot(cells, picture, entry.digests.get(picture, ""), in_order, entry.facts, tuple(entry.said))
