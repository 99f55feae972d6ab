"""A small made-up shelf for tests of tables and documents: three photographs of rocket on a panel, five flags, one speck added by hand."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from cli.review.answers import FIRST_ADDED, Added, Answer, Said, SpeckId
from cli.review.give import ANSWERED, answered_table
from cli.review.shelf import DeskShot, Flag, Shelf
from cli.review.take import Taken, sheet_of, take
from vision.table import CANDIDATES, SHOTS

RUN = "r0123456789ab"
FIRST, SECOND, BARE = "c3" * 32, "00" + "7e" * 31, "5d" * 32
"""Hashes of the photographs; the second begins with zeros, the third has no flags."""
SIZE_PX = (1600, 1200)


def speck(candidate: int, sha256: str = FIRST) -> SpeckId:
    return SpeckId(sha256, RUN, candidate)


def _flag(sha256: str, shot: str, candidate: int, x_px: float, y_px: float) -> Flag:
    cells = {column.name: "" for column in CANDIDATES} | {
        "lot": "R-17",
        "shot": shot,
        "shot_sha256": sha256,
        "run": RUN,
        "candidate": str(candidate),
        "x_px": f"{x_px:.1f}",
        "y_px": f"{y_px:.1f}",
        "x_mm": f"{x_px / 20:.2f}",
        "y_mm": f"{y_px / 20:.2f}",
        "left_px": str(int(x_px) - 9),
        "top_px": str(int(y_px) - 6),
        "wide_px": "18",
        "high_px": "12",
        "why": "darker, 0.90 mm long × 0.30 mm",
        "score": "0.812",
        "found_by": "tool",
        "note": "",
    }
    return Flag(SpeckId(sha256, RUN, candidate), cells)


def _shot(sha256: str, name: str, px_per_mm: str, *flags: Flag) -> DeskShot:
    cells = {column.name: "" for column in SHOTS} | {
        "shot": name,
        "shot_sha256": sha256,
        "run": RUN,
        "lot": "R-17",
        "taken_at": "2025-04-02T08:15:00",
        "width_px": str(SIZE_PX[0]),
        "height_px": str(SIZE_PX[1]),
        "px_per_mm": px_per_mm,
    }
    return DeskShot(cells, f"pictures/{name[:-4]}-{sha256[:8]}-unmarked.jpg", "", flags)


def made_shelf() -> Shelf:
    first = [
        _flag(FIRST, "=tray 1.jpg", k, x, y) for k, x, y in ((3, 90.0, 70.5), (1, 1234.5, 80.0), (2, 410.2, 900.4))
    ]
    second = [_flag(SECOND, "tray 2.jpg", k, x, y) for k, x, y in ((1, 512.0, 300.3), (2, 33.3, 44.4))]
    return Shelf(
        Path("unused"),
        RUN,
        "0.1.0",
        (
            _shot(FIRST, "=tray 1.jpg", "20.00", *first),
            _shot(SECOND, "tray 2.jpg", "", *second),
            _shot(BARE, "tray 3.jpg", "20.00"),
        ),
    )


SHELF = made_shelf()
ADDED = Added(speck(FIRST_ADDED), "Ida", x_px=200.0, y_px=100.0, length_px=40.0, angle_deg=30.0)
POINT = Added(speck(FIRST_ADDED, SECOND), "Ida", x_px=0.4, y_px=1198.9, length_px=0.0, angle_deg=0.0)
ADDED_IDS = (ADDED.speck, POINT.speck)


def words_of(*answers: Answer) -> dict[SpeckId, Said]:
    return {a.speck: Said(k, f"2025-04-02T09:00:{k:02d}Z", "", a) for k, a in enumerate(answers, start=1)}


Cells = dict[str, str]


def rows_given(*answers: Answer) -> list[Cells]:
    """The table that is given out, as cells by column name."""
    data = answered_table(SHELF, words_of(*answers), [ADDED, POINT])
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def table_of(rows: list[Cells], separator: str = ",", line_end: str = "\r\n") -> str:
    out = io.StringIO(newline="")
    names = list(rows[0]) if rows else [column.name for column in ANSWERED]
    writer = csv.DictWriter(out, names, delimiter=separator, lineterminator=line_end)
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def filled(*rows: Mapping[str, Any]) -> list[Cells]:
    """The given-out table, its first rows filled in with the cells told; row 2 of the sheet is the first."""
    given = rows_given()
    for row, cells in zip(given, rows, strict=False):
        row.update({name: str(cell) for name, cell in cells.items()})
    return given


def take_rows(rows: list[Cells], reviewer: str = "Ida", encode: Callable[[str], bytes] = str.encode) -> Taken:
    return take(sheet_of(encode(table_of(rows))), SHELF, reviewer, ADDED_IDS)


def take_bytes(data: bytes, reviewer: str = "Ida") -> Taken:
    return take(sheet_of(data), SHELF, reviewer, ADDED_IDS)


def only_refusal(taken: Taken, row: int) -> str:
    """The sentence of the one row that is refused."""
    assert [refusal.row for refusal in taken.refused] == [row]
    sentence = taken.refused[0].sentence
    assert sentence.endswith(".")
    return sentence
