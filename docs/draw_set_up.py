"""Draws the pictures of "Set up your panel" again: `python docs/draw_set_up.py` (or `--check` to compare only).

Diagrams come from set_up_diagrams.py, photographs from set_up_photographs.py; nothing in them is real. The same versions of the
libraries give the same files.
"""

from __future__ import annotations

import argparse
import io
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np
import set_up_diagrams
from PIL import Image
from set_up_photographs import PAIRS, photograph

from vision.files import read_bytes, write_bytes

HERE = Path(__file__).parent / "pictures"
DIAGRAMS: dict[str, Callable[[], Image.Image]] = {
    f"set-up-{name}.png": getattr(set_up_diagrams, name)
    for name in ("slip", "stand", "lights", "depth", "rows", "opened", "lot")
}
PHOTOGRAPHS: dict[str, Callable[[], Image.Image]] = {
    f"set-up-{name}.jpg": partial(photograph, pair) for name, pair in PAIRS.items()
}
_QUALITY = 82
_NEAR_LEVELS, _ALIKE_SHARE = 24, 0.995
"""Another version of the font or JPEG library moves single pixels, mostly at the rims of letters."""


def as_file(name: str, picture: Image.Image) -> bytes:
    """The picture as the bytes of its file: a PNG of few colours for a diagram, a JPEG for a photograph."""
    out = io.BytesIO()
    if name.endswith(".png"):
        few = picture.quantize(256, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
        few.save(out, "PNG", optimize=True)
    else:
        picture.save(out, "JPEG", quality=_QUALITY, optimize=True)
    return out.getvalue()


def alike(one: bytes, two: bytes) -> bool:
    """Whether two picture files show the same."""
    a, b = (np.asarray(Image.open(io.BytesIO(each)).convert("RGB"), dtype=np.int16) for each in (one, two))
    return a.shape == b.shape and float((np.abs(a - b).max(axis=2) <= _NEAR_LEVELS).mean()) >= _ALIKE_SHARE


def main() -> int:
    """Draw, and write or compare."""
    parser = argparse.ArgumentParser(description='Draws the pictures of "Set up your panel" again.')
    parser.add_argument("--check", action="store_true", help="compare with what stands, write nothing")
    check = parser.parse_args().check
    differs = 0
    for name, drawn in (DIAGRAMS | PHOTOGRAPHS).items():
        data = as_file(name, drawn())
        if not check:
            write_bytes(HERE / name, data)
            print(f"{name}: {len(data) / 1000:.0f} kB")
        elif not alike(data, read_bytes(HERE / name)):
            differs += 1
            print(f"{name} differs from what is drawn now.")
    return 1 if differs else 0


if __name__ == "__main__":
    sys.exit(main())
