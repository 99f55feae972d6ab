"""Bytes nobody wrote: whatever the reader and the tables are given, they give a value or one of our own errors.

A few hundred examples a test in the suite. For longer, with new examples each time:

    python tests/test_fuzz_reader.py --examples 100000
    python tests/test_fuzz_reader.py --minutes 30

In a process of its own each, so that a decoder that crashes is named, and the file kept that made it.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hostile_files import assert_plain, ill, photograph, unusual
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from written_pictures import SRGB_CURVE, exif, gamma_tag, icc, ink_picture, saved, table_icc, tiff, xyz_tag

from vision.decode import decode_shot
from vision.errors import ShotError, TableError
from vision.table import CANDIDATES, SHOTS, Column, csv_pieces, format_cell, from_csv, to_csv, unescape

COLUMNS = (Column("word", "text", "a word"), Column("more", "text", "more of them"))
SLOW_S = 20.0

_kept: Path | None = None
"""Where the bytes at hand are kept while they are decoded; None in the suite."""


@cache
def wholes() -> dict[str, bytes]:
    """Whole files of every kind and dialect, which examples are made of."""
    pixels = photograph(48)
    wide = pixels.astype(np.uint16) * 257
    tags = exif(6, "2024:05:06 07:08:09", "+02:00")
    grey = icc(b"GRAY", b"XYZ ", {b"wtpt": xyz_tag((0.9642, 1.0, 0.8249)), b"kTRC": gamma_tag(2.2)})
    return {
        **unusual(),
        **{name: data for name, data in ill().items() if name.startswith("profile")},
        "plain.jpg": saved(pixels, "JPEG", exif=tags, icc_profile=table_icc(b"RGB ", {})),
        "progressive.jpg": saved(pixels, "JPEG", progressive=True),
        "inks with a profile.jpg": saved(ink_picture(), "JPEG", icc_profile=table_icc(b"CMYK", {})),
        "grey with a profile.jpg": saved(pixels[..., 0], "JPEG", icc_profile=grey),
        "plain.png": saved(pixels, "PNG", exif=tags, icc_profile=icc(b"RGB ", b"XYZ ", {b"rTRC": SRGB_CURVE})),
        "bits.png": saved(pixels[..., 0] > 150, "PNG"),
        "strips.tif": tiff(pixels, photometric="rgb", rowsperstrip=8, iccprofile=table_icc(b"RGB ", {})),
        "tiles.tif": tiff(wide, photometric="rgb", tile=(16, 16)),
        "planes.tif": tiff(np.moveaxis(wide, -1, 0), photometric="rgb", planarconfig="separate"),
        "large.tif": tiff(wide, photometric="rgb", bigtiff=True, compression="zlib", predictor=True),
        "lzw.tif": saved(pixels, "TIFF", compression="tiff_lzw"),
        "jpeg in it.tif": saved(pixels, "TIFF", compression="jpeg"),
        "fax.tif": saved(pixels[..., 0] > 150, "TIFF", compression="group4"),
        "plain.webp": saved(pixels, "WEBP", exif=tags, icc_profile=table_icc(b"RGB ", {})),
        "plain.heic": saved(pixels, "HEIF", exif=tags),
    }


Change = Callable[[bytearray], None]

PLACES = st.one_of(st.integers(0, 400), st.integers(0, 1 << 20))
EDGES = [n + k for n in (0, 0x80, 0x100, 0x8000, 0x10000, 0x80000000, 1 << 32) for k in (-1, 0, 1)]


def _flip(at: int, bit: int) -> Change:
    def change(data: bytearray) -> None:
        data[at % len(data)] ^= 1 << bit

    return change


def _number(at: int, value: int, size: int, big: bool) -> Change:
    def change(data: bytearray) -> None:
        number = (value % (1 << 8 * size)).to_bytes(size, "big" if big else "little")
        data[at % len(data) : at % len(data) + size] = number

    return change


def _insert(at: int, what: bytes) -> Change:
    def change(data: bytearray) -> None:
        data[at % len(data) : at % len(data)] = what

    return change


def _delete(at: int, size: int) -> Change:
    def change(data: bytearray) -> None:
        del data[at % len(data) : at % len(data) + size]

    return change


def _splice(at: int, gone: int, name: str, start: int, size: int) -> Change:
    def change(data: bytearray) -> None:
        other = wholes()[name]
        data[at % len(data) : at % len(data) + gone] = other[start % len(other) : start % len(other) + size]

    return change


def changes() -> st.SearchStrategy[Change]:
    sizes = st.integers(0, 200)
    return st.one_of(
        st.builds(_flip, PLACES, st.integers(0, 7)),
        st.builds(_number, PLACES, st.sampled_from(EDGES), st.sampled_from([1, 2, 4, 8]), st.booleans()),
        st.builds(_insert, PLACES, st.binary(min_size=1, max_size=40)),
        st.builds(_delete, PLACES, st.integers(1, 100)),
        st.builds(_splice, PLACES, sizes, st.sampled_from(sorted(wholes())), PLACES, sizes),
    )


def check_reader(name: str, made: list[Change]) -> None:
    data = bytearray(wholes()[name])
    for change in made:
        if data:
            change(data)
    if _kept is not None:
        _kept.write_bytes(data)
    begun = time.process_time()
    try:
        shot = decode_shot(bytes(data), name)
    except ShotError as error:
        assert_plain(str(error))
    else:
        assert shot.pixels.ndim == 3
        assert shot.pixels.shape[2] == 3
        assert shot.pixels.size > 0
        assert shot.pixels.dtype in (np.uint8, np.uint16)
        for note in shot.notes:
            assert_plain(note)
    assert time.process_time() - begun < SLOW_S


def many(check: Callable[..., None], examples: int, *what: st.SearchStrategy[Any]) -> None:
    """Runs a check on so many examples: always the same in the suite, new ones otherwise."""
    how = settings(max_examples=examples, deadline=None, suppress_health_check=list(HealthCheck), database=None)
    how(given(*what)(check))()


def fuzz_reader(examples: int) -> None:
    many(check_reader, examples, st.sampled_from(sorted(wholes())), st.lists(changes(), min_size=1, max_size=8))


TEXT = st.text(max_size=40)
"""Any text but halves of surrogate pairs: names of files are written out before they come into a table."""
ROWS = st.lists(st.tuples(TEXT, TEXT), max_size=8)


def check_text(rows: list[tuple[str, str]]) -> None:
    cells = [[format_cell(column, text) for column, text in zip(COLUMNS, row, strict=True)] for row in rows]
    data = to_csv(COLUMNS, cells)
    assert b"".join(csv_pieces(COLUMNS, iter(cells))) == data
    assert [tuple(unescape(cell) for cell in row) for row in from_csv(COLUMNS, data)] == rows


def check_bytes(columns: tuple[Column, ...], data: bytes) -> None:
    try:
        rows = from_csv(columns, data)
    except TableError as error:
        assert_plain(str(error))
    else:
        assert all(len(row) == len(columns) for row in rows)
        assert from_csv(columns, to_csv(columns, rows)) == rows


def check_put_in(rows: list[tuple[str, str]], at: int, put: bytes) -> None:
    data = to_csv(COLUMNS, rows)
    check_bytes(COLUMNS, data[: at % len(data)] + put + data[at % len(data) :])


def fuzz_tables(examples: int) -> None:
    columns = st.sampled_from([COLUMNS, SHOTS, CANDIDATES])
    many(check_text, examples, ROWS)
    many(check_bytes, examples, columns, st.binary(max_size=300))
    many(lambda c, rest: check_bytes(c, to_csv(c, []) + rest), examples, columns, st.binary(max_size=300))
    many(check_put_in, examples, ROWS, st.integers(0, 1 << 16), st.binary(max_size=6))


def test_the_reader_gives_a_shot_or_a_sentence() -> None:
    fuzz_reader(400)


def test_tables_come_back_whole_or_are_a_table_error() -> None:
    fuzz_tables(150)


def test_a_cell_longer_than_the_csv_module_takes_is_a_table_error() -> None:
    """Its limit is 131,072 characters, where nobody changes it (csv.field_size_limit; from memory)."""
    with pytest.raises(TableError):
        from_csv(COLUMNS, to_csv(COLUMNS, [["x" * 200_000, ""]]))


def run_for(examples: int, minutes: float) -> int:
    """Rounds of 2,000 examples, each in a process of its own, until there have been enough; 1 where one has failed."""
    end, done, failed = time.monotonic() + minutes * 60, 0, 0
    kept = Path(tempfile.mkdtemp(prefix="fuzz-"))
    while done < examples and time.monotonic() < end:
        size, at_hand = min(2000, examples - done), kept / f"{done:08d}.bin"
        ended = subprocess.run(
            [sys.executable, __file__, "--round", str(size), "--keep", str(at_hand)],
            capture_output=True,
            encoding="utf-8",
            errors="replace",
            check=False,
        )
        done += size
        if ended.returncode:
            failed += 1
            print(f"Ended with {ended.returncode} at {at_hand}\n{ended.stderr[-3000:]}", flush=True)
        else:
            at_hand.unlink(missing_ok=True)
    print(f"{done} examples of the reader, {failed} of the rounds failed.")
    return int(failed > 0)


def run_round(examples: int, at_hand: Path) -> None:
    global _kept
    _kept = at_hand
    fuzz_reader(examples)
    fuzz_tables(examples // 10)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--examples", type=int, default=1 << 62)
    parser.add_argument("--minutes", type=float, default=1e9)
    parser.add_argument("--round", type=int, help=argparse.SUPPRESS)
    parser.add_argument("--keep", type=Path, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.round:
        run_round(asked.round, asked.keep)
    else:
        sys.exit(run_for(asked.examples, asked.minutes))
