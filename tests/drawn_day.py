"""A day at the panel of the kitchen at Larkmoor House, which is invented: photographs with known truth, drawn by vision/render, as a camera
leaves them in folders, with the strip and its code under the tray."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from calib.slip.draw import piece_bitmap
from calib.slip.layout import strip
from calib.slip.view import SlipText
from vision.render import Recipe, draw, tidy
from vision.render.prints import Print

LOT = "LH-26-301"
PX_PER_MM = 20.0
SIZE_PX = (2000, 1150)
_PANEL = 118
MANIFEST = f"""shot,head,produce,preparation,grams,grams_are,supplier,checker
{LOT}/1/blank/IMG_0004.jpg,,,,,,,
{LOT}/1/water/IMG_0005.jpg,,,simmered two minutes,310,raw,Brook Farm (invented),Mila Brandt
{LOT}/2/water/IMG_0006.jpg,,,simmered two minutes,295,raw,Brook Farm (invented),Mila Brandt
{LOT}/2/opened/IMG_0007.jpg,3,broccoli,microwaved 90 s,295,raw,Brook Farm (invented),Mila Brandt
{LOT}/2/opened/IMG_0099.jpg,3,broccoli,microwaved 90 s,295,raw,Brook Farm (invented),Mila Brandt
"""
"""As a person fills it in; the last row is of a photograph that was never taken."""


@dataclass(frozen=True)
class DrawnDay:
    """Where the photographs lie, and where each insect on them is."""

    folder: Path
    blanks: tuple[Path, ...]
    slips: tuple[Path, ...]
    insects: dict[str, tuple[tuple[float, float, str, float], ...]]
    """By photograph, relative to `folder`: x and y in pixels, kind, length in mm."""


def draw_day(folder: Path) -> DrawnDay:
    """Draws the panel, empty and with the strip, into `folder`/panel, and lot LH-26-301 into `folder`/day, with its manifest."""
    panel, day = folder / "panel", folder / "day"
    blanks = tuple(_put(panel / f"IMG_000{n}.jpg", _recipe("blank", 7000 + n)) for n in (1, 2))
    slips = (_put(panel / "IMG_0003.jpg", _recipe("blank", 7003, prints=_strip("", ""))),)
    shots = {
        f"{LOT}/1/blank/IMG_0004.jpg": _recipe("blank", 7004, prints=_strip("1", "broccoli")),
        f"{LOT}/1/water/IMG_0005.jpg": _recipe("water", 7005, 3, 2, 1, prints=_strip("1", "broccoli")),
        f"{LOT}/2/water/IMG_0006.jpg": _recipe("water", 7006, prints=_strip("2", "broccoli")),
        f"{LOT}/2/opened/IMG_0007.jpg": _recipe("broccoli", 7007, 3, 1, 1, view="opened", heated=True),
    }
    insects = {}
    for name, recipe in shots.items():
        drawn = draw(recipe)
        (day / name).parent.mkdir(parents=True, exist_ok=True)
        (day / name).write_bytes(drawn.jpeg)
        insects[name] = tuple((b.x_px, b.y_px, b.kind, b.length_mm) for b in drawn.truth if b.insect)
    (day / "manifest.csv").write_text(MANIFEST, encoding="utf-8")
    return DrawnDay(folder, blanks, slips, insects)


def _recipe(kind: str, seed: int, aphids: int = 0, thrips: int = 0, caterpillars: int = 0, **more: object) -> Recipe:
    base = tidy(kind, seed, width_px=SIZE_PX[0], height_px=SIZE_PX[1], px_per_mm=PX_PER_MM, panel_seed=_PANEL)
    insects = (("aphid", aphids), ("thrips", thrips), ("caterpillar", caterpillars))
    return replace(base, insects=insects, jpeg_quality=88, **more)  # type: ignore[arg-type]


def _strip(sample: str, produce: str) -> tuple[Print, ...]:
    printed = piece_bitmap(strip(), 40.0, SlipText(LOT if sample else "", sample, produce))
    return (Print(printed.light, printed.px_per_mm, 50, 43, -3, film=True),)


def _put(path: Path, recipe: Recipe) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(draw(recipe).jpeg)
    return path
