"""Draws the sample photographs again from their seeds: `python sample_images/redraw.py` (or `--check` to compare only).

The scenario is invented: the kitchen of Larkmoor House prepares lot LH-26-118, broccoli, and checks it on a light panel. The
pictures are made by vision/render; every insect and look-alike in them stands in truth.csv.
"""

from __future__ import annotations

import argparse
import csv
import io
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from calib.slip.draw import piece_bitmap
from calib.slip.layout import strip
from calib.slip.view import SlipText
from vision.decode import decode_shot
from vision.files import write_bytes, write_text
from vision.render import Recipe, draw, tidy, truth_rows
from vision.render.prints import Print

HERE = Path(__file__).parent
PX_PER_MM = 20.0
PANEL = 118
"""One panel for all shots: the same shading, scratches and stuck dust."""
QUALITY = 86
_ALIKE_SHARE = 0.999


@dataclass(frozen=True)
class Sample:
    """One photograph of the scenario."""

    name: str
    says: str
    recipe: Recipe


def _recipe(kind: str, seed: int, insects: tuple[tuple[str, int], ...], large: bool, **more: object) -> Recipe:
    size = (4000, 3000) if large else (2000, 1500)
    base = tidy(kind, seed, width_px=size[0], height_px=size[1], px_per_mm=PX_PER_MM, panel_seed=PANEL)
    return replace(base, insects=insects, jpeg_quality=QUALITY, **more)  # type: ignore[arg-type]


def _slip(sample: str, x_mm: float, y_mm: float, angle_deg: float) -> tuple[Print, ...]:
    """The slip on clear film under the tray, with its code."""
    text = SlipText(lot="LH-26-118", sample=sample, produce="broccoli")
    printed = piece_bitmap(strip(), 40.0, text)
    return (Print(printed.light, printed.px_per_mm, x_mm, y_mm, angle_deg, film=True),)


def _some(aphids: int = 0, thrips: int = 0, caterpillars: int = 0) -> tuple[tuple[str, int], ...]:
    return (("aphid", aphids), ("thrips", thrips), ("caterpillar", caterpillars))


SAMPLES: tuple[Sample, ...] = (
    Sample("01-blank-panel-a", "the empty panel, before work", _recipe("blank", 1101, _some(), False)),
    Sample("02-blank-panel-b", "the empty panel again", _recipe("blank", 1102, _some(), False)),
    Sample("03-rinse-water-sample-1", "rinse water of the first ten florets", _recipe("water", 1103, _some(3, 2, 1), False)),
    Sample(
        "04-rinse-water-sample-2", "rinse water, a few small ones, with the slip under the tray",
        _recipe("water", 1104, _some(1, 3, 0), False, prints=_slip("2", 50, 60, -3)),
    ),
    Sample("05-rinse-water-sample-3", "rinse water that carries debris only", _recipe("water", 1105, _some(), False)),
    Sample("06-rinse-water-large", "rinse water, whole tray", _recipe("water", 1106, _some(4, 4, 2), True)),
    Sample(
        "07-florets-underside-1", "raw florets, stalk side up",
        _recipe("broccoli", 1107, _some(3, 1, 1), False, view="underside", heated=False),
    ),
    Sample(
        "08-florets-underside-2", "raw florets, stalk side up, none on them",
        _recipe("broccoli", 1108, _some(), False, view="underside", heated=False),
    ),
    Sample(
        "09-florets-opened-1", "heated florets, opened",
        _recipe("broccoli", 1109, _some(3, 2, 1), False, view="opened", heated=True),
    ),
    Sample(
        "10-florets-opened-large", "heated florets, opened, whole panel",
        _recipe("broccoli", 1110, _some(4, 3, 2), True, view="opened", heated=True),
    ),
    Sample("11-spoiled-blurred", "out of focus: to be taken again", _recipe("water", 1111, _some(3, 2, 1), False, defocus_px=9.0)),
    Sample("12-spoiled-over-exposed", "burnt out: to be taken again", _recipe("water", 1112, _some(3, 2, 1), False, exposure=1.9)),
)  # fmt: skip


def truth_table(rows: list[dict[str, object]]) -> str:
    """The truth of all shots as CSV text."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, fieldnames=list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def draw_sample(sample: Sample) -> tuple[bytes, list[dict[str, object]]]:
    """The JPEG of one sample and its rows of truth."""
    drawn = draw(sample.recipe)
    rows: list[dict[str, object]] = []
    for row in truth_rows(drawn):
        cells = {k: round(v, 4) if isinstance(v, float) else v for k, v in row.items()}
        rows.append({"shot": f"{sample.name}.jpg", **cells})
    return drawn.jpeg, rows


def share_alike(a: bytes, b: bytes) -> float:
    """Share of pixels that differ by at most one level in every channel; 0 where the sizes differ."""
    one, two = decode_shot(a, "a").pixels, decode_shot(b, "b").pixels
    if one.shape != two.shape:
        return 0.0
    return float((np.abs(one.astype(np.int16) - two.astype(np.int16)).max(axis=2) <= 1).mean())


def main() -> int:
    """Draw, and write or compare."""
    parser = argparse.ArgumentParser(description="Draws the sample photographs again.")
    parser.add_argument("--check", action="store_true", help="compare with what stands, write nothing")
    check = parser.parse_args().check
    rows: list[dict[str, object]] = []
    alike = True
    for sample in SAMPLES:
        jpeg, truth = draw_sample(sample)
        rows += truth
        path = HERE / f"{sample.name}.jpg"
        if check:
            share = share_alike(jpeg, path.read_bytes())
            alike &= share >= _ALIKE_SHARE
            print(f"{sample.name}: {100 * share:.3f}% of pixels within one level")
        else:
            write_bytes(path, jpeg)
            print(f"{path.name}: {len(jpeg) / 1e6:.2f} MB, {len(truth)} things drawn")
    if check:
        same = truth_table(rows) == (HERE / "truth.csv").read_text()
        print("The truth is the same." if same else "The truth differs.")
        return 0 if alike and same else 1
    write_text(HERE / "truth.csv", truth_table(rows))
    return 0


if __name__ == "__main__":
    sys.exit(main())
