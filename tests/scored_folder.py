"""A scored folder as `speckwise score` leaves one, with made-up shots: dots on a pale ground, where the flags are said to be."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from cli.batch.ledger import Entry, Ledger
from cli.batch.standing import LEDGER, RECORD
from cli.pages.names import shot_files
from vision.files import encode_jpeg, write_bytes, write_json
from vision.table import CANDIDATES, SHOTS, Column, format_cell

RUN = "r0123456789ab"
KINDS = ("aphid", "thrips", "bud", "grit")


@dataclass(frozen=True)
class Made:
    """What a made shot is: its name, what it belongs to, and how many flags lie on it."""

    name: str
    flags: int = 4
    lot: str = "L-17"
    sample: str = "1"
    piece: str = ""
    size_px: tuple[int, int] = (600, 400)
    px_per_mm: float | None = 20.0
    seed: int = 0
    view: str = ""


def places(made: Made) -> NDArray[np.float64]:
    """Where the flags of a made shot lie, (n, 2) x and y in pixels, at least 40 px apart where there is room."""
    wide, high = made.size_px
    across = max(1, int(np.ceil(np.sqrt(made.flags * wide / high))))
    down = max(1, int(np.ceil(made.flags / across)))
    row, column = np.divmod(np.arange(made.flags), across)
    jitter = np.random.default_rng(made.seed).uniform(-0.2, 0.2, (made.flags, 2))
    x, y = (column + 0.5 + jitter[:, 0]) * wide / across, (row + 0.5 + jitter[:, 1]) * high / down
    return np.round(np.stack([x, y], axis=1), 1)


@cache
def picture_of(look: Made) -> bytes:
    """A made shot's picture as a JPEG."""
    return encode_jpeg(pixels_of(look), 90)


def pixels_of(made: Made) -> NDArray[np.uint8]:
    """Its picture: a pale ground that darkens to the right, and a dark dot at each flag."""
    wide, high = made.size_px
    ground = np.repeat(np.linspace(225, 200, wide)[None], high, axis=0)
    for x, y in places(made):
        left, right, top, bottom = int(x) - 8, int(x) + 9, int(y) - 8, int(y) + 9
        yy, xx = np.mgrid[max(0, top) : min(high, bottom), max(0, left) : min(wide, right)]
        ground[yy, xx] -= 150 * np.exp(-((xx - x) ** 2 + (yy - y) ** 2) / 18)
    return np.repeat(np.clip(ground, 0, 255).astype(np.uint8)[..., None], 3, axis=2)


def _row(columns: Sequence[Column], values: dict[str, object]) -> list[str]:
    unknown = set(values) - {column.name for column in columns}
    assert not unknown, unknown
    return [format_cell(column, values.get(column.name)) for column in columns]  # type: ignore[arg-type]


def entry_of(made: Made, run: str = RUN, order: Sequence[int] | None = None) -> tuple[Entry, dict[str, bytes]]:
    """What the ledger says of a made shot, and its picture. `order`: numbers of the flags, by default as they lie."""
    # Shots that differ in name alone look alike, and are drawn once.
    picture = picture_of(replace(made, name="", lot="", sample="", piece="", view=""))
    sha256 = hashlib.sha256(made.name.encode() + picture).hexdigest()
    belongs = {"lot": made.lot, "sample": made.sample, "piece": made.piece, "view": made.view, "shot": made.name}
    common = {**belongs, "shot_sha256": sha256, "run": run}
    scale = made.px_per_mm
    candidates = []
    for k, (x, y) in enumerate(places(made)):
        mm = {"length_mm": 0.6, "width_mm": 0.5, "x_mm": x / scale, "y_mm": y / scale} if scale else {}
        box = {"left_px": int(x) - 6, "top_px": int(y) - 6, "wide_px": 13, "high_px": 13}
        told = {"resembles": KINDS[k % 4], "why": "dark, round", "score": max(0.02, 0.9 - 0.01 * k), "snr": 9.0}
        number = order[k] if order is not None else k + 1
        where = {"candidate": number, "x_px": x, "y_px": y, "surface": "water", "tone": "darker", "shape": "round"}
        candidates.append(_row(CANDIDATES, {**common, **where, **box, **mm, **told, "found_by": "tool"}))
    wide, high = made.size_px
    facts = {"width_px": wide, "height_px": high, "px_per_mm": scale, "usable": "yes", "unsearched_pct": 1.5}
    limits = {"limit_round_mm": 0.3, "limit_linear_mm": 0.15} if scale else {}
    shot = _row(SHOTS, {**common, **facts, **limits, "candidates": made.flags, "ground": "water", "lit_from": "below"})
    files = {shot_files(made.name, sha256).unmarked: picture}
    digests = {name: hashlib.sha256(data).hexdigest() for name, data in files.items()}
    entry = Entry(
        run, made.name, sha256, 1, f"/shots/{made.name}", shot, candidates, sorted(files), 0.1, digests=digests
    )
    return entry, files


def write_folder(folder: Path, shots: Sequence[Made], run: str = RUN) -> Path:
    """Writes a scored folder of made shots and returns it."""
    folder.mkdir(parents=True, exist_ok=True)
    ledger = Ledger(folder / LEDGER, run)
    for made in shots:
        entry, files = entry_of(made, run)
        for name, data in files.items():
            (folder / name).parent.mkdir(exist_ok=True)
            write_bytes(folder / name, data)
        ledger.add(entry)
    write_json(folder / RECORD, {"app": "speckwise", "run": run, "version": "0.1.0", "tables": {}})
    return folder
