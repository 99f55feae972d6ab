"""Tables of two runs, made for comparing: a few shots and candidates, changed in one way each."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from typing import Any

from cli.batch.agree import compare
from cli.batch.agree_rows import CANDIDATE_AT, SHOT_AT
from cli.batch.agree_tables import Tables, by_shot
from cli.batch.agree_words import Agreement, Some
from vision.table import CANDIDATES, SHOTS, Column, format_cell, to_csv

RUN, OTHER_RUN = "r0123456789ab", "rba9876543210"
CUT = 0.02

Rows = list[list[str]]
Made = tuple[Rows, Rows]


def row_of(columns: Sequence[Column], values: Mapping[str, Any]) -> list[str]:
    assert set(values) <= {column.name for column in columns}
    return [format_cell(column, values.get(column.name)) for column in columns]


def candidate(shot: str, number: int, score: float = 0.5, **values: Any) -> list[str]:
    """A candidate 40 px to the right of the one with the number before it."""
    x = 40.0 * number
    told = {
        "shot": shot, "shot_sha256": digest(shot), "run": RUN, "candidate": number, "x_px": x, "y_px": 100.0,
        "x_mm": x / 20, "y_mm": 5.0, "left_px": x - 5, "top_px": 95, "wide_px": 11, "high_px": 9, "angle_deg": 30.0,
        "surface": "water", "tone": "darker", "shape": "round", "length_mm": 0.6, "width_mm": 0.4, "aspect_ratio": 0.67,
        "delta_e": 12.5, "density": 0.25, "snr": 9.0, "resembles": "aphid", "why": "brown, roundish, 0.6 x 0.4 mm, sharp",
        "score": score, "found_by": "tool",
    }  # fmt: skip
    return row_of(CANDIDATES, told | values)


def shot_row(shot: str, flags: int | None = 0, **values: Any) -> list[str]:
    told = {
        "shot": shot, "shot_sha256": digest(shot), "run": RUN, "width_px": 600, "height_px": 400, "px_per_mm": 20.0,
        "scale_from": "slip", "noise": 0.0123, "usable": "yes", "candidates": flags,
    }  # fmt: skip
    return row_of(SHOTS, told | values)


def digest(shot: str) -> str:
    return hashlib.sha256(shot.encode()).hexdigest()


def made(**scores: Sequence[float]) -> Made:
    """Shots named like the keywords, `.jpg` added, with candidates of these scores."""
    listed = {f"{name}.jpg": each for name, each in scores.items()}
    return (
        [candidate(shot, n, score) for shot, each in listed.items() for n, score in enumerate(each, start=1)],
        [shot_row(shot, len(each)) for shot, each in listed.items()],
    )


THREE = made(a=(0.9, 0.5, 0.3), b=(), c=(0.8, 0.4))


def tables(rows: Made, run: str = RUN) -> Tables:
    candidates, shots = rows
    digests = {
        "candidates": hashlib.sha256(to_csv(CANDIDATES, candidates)).hexdigest(),
        "shots": hashlib.sha256(to_csv(SHOTS, shots)).hexdigest(),
    }
    return Tables(run, digests, list(by_shot(shots, candidates)))


def compared(before: Made, after: Made, cut: float = CUT, max_flags: int | None = None) -> Agreement:
    return compare(tables(before), tables(after), cut, max_flags)


def changed(rows: Made, table: str, row: int, **cells: str) -> Made:
    """The tables with the cells of one row written anew."""
    both = {"candidates": [list(each) for each in rows[0]], "shots": [list(each) for each in rows[1]]}
    at = CANDIDATE_AT if table == "candidates" else SHOT_AT
    for name, cell in cells.items():
        assert both[table][row][at[name]] != cell
        both[table][row][at[name]] = cell
    return both["candidates"], both["shots"]


def without(rows: Made, row: int, renumbered: bool = True) -> Made:
    """The tables as if one candidate had not been listed."""
    candidates, shots = rows
    gone = candidates[row]
    shot = gone[CANDIDATE_AT["shot"]]
    kept = [list(each) for each in candidates if each is not gone]
    for number, each in enumerate((each for each in kept if each[CANDIDATE_AT["shot"]] == shot), start=1):
        if renumbered:
            each[CANDIDATE_AT["candidate"]] = str(number)
    counted = [list(each) for each in shots]
    for each in counted:
        if each[SHOT_AT["shot"]] == shot:
            each[SHOT_AT["candidates"]] = str(int(each[SHOT_AT["candidates"]]) - 1)
    return kept, counted


def turned(agreement: Agreement) -> Agreement:
    """The same seen from the other side, but for the examples."""
    swapped = {
        each.name: getattr(agreement, each.name.replace("missing", "added"))
        if "missing" in each.name
        else getattr(agreement, each.name.replace("added", "missing"))
        for each in fields(agreement)
    }
    return replace(agreement, **swapped | {"runs": agreement.runs[::-1]})


def numbers_of(agreement: Agreement) -> dict[str, Any]:
    """All that does not depend on which of several was found first."""
    plain: dict[str, Any] = {}
    for each in fields(agreement):
        value = getattr(agreement, each.name)
        if isinstance(value, Some):
            value = value.number
        elif each.name in {"beyond", "texts"}:
            value = {name: (differing.number, differing.apart.units) for name, differing in value.items()}
        plain[each.name] = value
    return plain
