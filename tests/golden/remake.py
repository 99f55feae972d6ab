"""Freezes the steps again: `python tests/golden/remake.py` (`--draw` also draws the two photographs again)."""

from __future__ import annotations

import sys
from dataclasses import replace

from frozen import HERE, NAMES, steps

from vision.files import write_bytes, write_json
from vision.render import draw, tidy


def draw_photographs() -> None:
    """Two small shots, each with a few insects."""
    some = (("aphid", 2), ("thrips", 2), ("caterpillar", 1))
    for name, kind in zip(NAMES, ("water", "broccoli"), strict=True):
        recipe = tidy(kind, 4711, width_px=640, height_px=480)
        write_bytes(HERE / f"{name}.jpg", draw(replace(recipe, insects=some, jpeg_quality=90)).jpeg)


if __name__ == "__main__":
    if "--draw" in sys.argv:
        draw_photographs()
    for each in NAMES:
        write_json(HERE / f"{each}.json", steps(each))
