"""Turns a thing in space, lights it on a fine grid and reduces it to the picture's pixels."""

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands import PX_PER_MM
from vision.render.hands.lent import Lent
from vision.render.hands.rounded import light as lights
from vision.render.hands.rounded.matter import Blobs, Facets, Hairs, Limb, Points, Sheet, Thing
from vision.render.hands.rounded.noise import cloud
from vision.render.hands.rounded.surface import Grid, rod, solve, stone
from vision.types import FloatArray

_MARGIN_PX = 9
_SHIFT = 4
Window = tuple[slice, slice]


def broad(wide_mm: float, high_mm: float, roll: float) -> float:
    """Greatest width in mm of a body of these half widths seen after a roll."""
    return 2.1 * float(np.hypot(wide_mm * np.cos(roll), high_mm * np.sin(roll)))


def turn(roll: float, pitch: float, yaw: float) -> Points:
    """Rotation (3, 3) from model to view: roll about the body's axis, then nod, then spin in the picture."""
    cr, sr, cp, sp, cy, sy = (f(a) for a in (roll, pitch, yaw) for f in (np.cos, np.sin))
    about = np.array([[1, 0, 0], [0, cr, -sr], [0, sr, cr]])
    nod = np.array([[cp, 0, sp], [0, 1, 0], [-sp, 0, cp]])
    spin = np.array([[cy, -sy, 0], [sy, cy, 0], [0, 0, 1]])
    return np.asarray(spin @ nod @ about, float)


def _moved(blobs: Blobs, view: Points, shift: Points) -> Blobs:
    return Blobs(blobs.centre @ view.T + shift, blobs.radii, blobs.frame @ view.T, blobs.along, blobs.dark)


def _extent(thing: Thing, view: Points, shift: Points) -> tuple[Points, Points]:
    """Low and high corner (2,) in mm of all parts in view."""
    spots: list[Points] = []
    for solid in thing.solids:
        spots += [corner[None] for corner in _blob_box(_moved(solid.blobs, view, shift))]
    for limb in thing.limbs:
        points, pad = limb.points @ view.T + shift, limb.radii_mm[:, None]
        spots += [points - pad, points + pad]
    spots += [sheet.outline @ view.T + shift for sheet in thing.sheets]
    spots += [line @ view.T + shift for hairs in thing.hairs for line in hairs.lines]
    for facets in thing.facets:
        far = float(facets.distance_mm.max()) * 1.7
        spots.append(np.array([[-far] * 3, [far] * 3]) + shift)
    every = np.concatenate(spots)[:, :2]
    return every.min(0), every.max(0)


def _raster(points: Points, grid: Grid) -> NDArray[np.int32]:
    place = (points[:, :2] - [grid.x_mm[0], grid.y_mm[0]]) / grid.step_mm * 2**_SHIFT
    return np.asarray(np.round(place), np.int32)


def _sheet(
    sheet: Sheet, points: Points, grid: Grid, light: lights.Lamp, rng: np.random.Generator
) -> tuple[lights.Layer, FloatArray]:
    mask = np.zeros(grid.shape, np.uint8)
    cv2.fillPoly(mask, [_raster(points, grid)], 255, cv2.LINE_AA, _SHIFT)
    cover = mask.astype(np.float32) / 255.0
    level = points - points.mean(0)
    slope, *_ = np.linalg.lstsq(level[:, :2], level[:, 2], rcond=0.05)
    x, y = grid.x_mm[None, :] - points[:, 0].mean(), grid.y_mm[:, None] - points[:, 1].mean()
    slope = np.clip(slope, -1.0, 1.0)
    height = (points[:, 2].mean() + slope[0] * x + slope[1] * y).astype(np.float32)
    grain = np.clip(1.0 + sheet.rough * cloud(grid.shape, max(sheet.cell_mm / grid.step_mm, 2.0), rng, 3), 0.1, 3.0)
    depth = grain[..., None] * np.asarray(sheet.depth, np.float32)
    return lights.film_layer(cover, depth.astype(np.float32), sheet.albedo, height, light), cover


def _hairs(hairs: Hairs, lines: list[Points], grid: Grid, light: lights.Lamp) -> tuple[lights.Layer, FloatArray]:
    mask = np.zeros(grid.shape, np.uint8)
    wide = hairs.width_mm / grid.step_mm
    for line in lines:
        cv2.polylines(mask, [_raster(line, grid)], False, 255, max(1, round(wide)), cv2.LINE_AA, _SHIFT)
    cover = mask.astype(np.float32) / 255.0 * min(wide, 1.0)
    depth = np.full((*grid.shape, 3), hairs.depth, np.float32)
    height = np.full(grid.shape, np.mean([line[:, 2].mean() for line in lines]), np.float32)
    return lights.film_layer(cover, depth, hairs.albedo, height, light), cover


def _spread(limb: Limb, view: Points, shift: Points) -> Limb:
    return Limb(limb.points @ view.T + shift, limb.radii_mm, limb.stuff, limb.counts)


def _blob_box(blobs: Blobs) -> tuple[Points, Points]:
    """Low and high corner (3,) in mm of a union of ellipsoids, with room for the swelling where they blend."""
    half = np.sqrt(((blobs.frame * blobs.radii[..., None]) ** 2).sum(1)) * 1.15 + 0.03
    low: Points = (blobs.centre - half).min(0)
    high: Points = (blobs.centre + half).max(0)
    return low, high


def _organs(thing: Thing, view: Points, shift: Points, grid: Grid) -> list[lights.Organ]:
    """Surfaces of the organs that show inside the grid of one solid, each in its own window."""
    found = []
    for organ in thing.organs:
        blobs = _moved(organ.blobs, view, shift)
        window = grid.window(*_blob_box(blobs))
        part = grid.cut(window)
        if min(part.shape) > 2:
            found.append((organ, solve(blobs, part, organ.blend), window))
    return found


def show(thing: Thing, view: Points, below: bool, rng: np.random.Generator) -> Lent:
    """Picture of the thing, turned by `view` (3, 3), lit from below or above."""
    shift = np.append(rng.uniform(-0.5, 0.5, 2) / PX_PER_MM, 0.0)
    low, high = _extent(thing, view, shift)
    fine = 4 if float((high - low).max()) < 1.3 else 3
    first = np.floor(low * PX_PER_MM).astype(int) - 5
    last = np.ceil(high * PX_PER_MM).astype(int) + 5
    step = 1.0 / (PX_PER_MM * fine)
    axes = [
        ((np.arange((last[k] - first[k] + 1) * fine) + 0.5) * step + (first[k] - 0.5) / PX_PER_MM).astype(np.float32)
        for k in (0, 1)
    ]
    grid = Grid(axes[0], axes[1], step)
    light = lights.lamp(below, rng)
    blank = np.zeros((*grid.shape, 3), np.float32)
    whole = lights.Layer(blank + 1, blank, np.full(grid.shape, -40.0, np.float32))
    cover, shade = np.zeros(grid.shape, np.float32), np.zeros(grid.shape, np.float32)

    def add(layer: lights.Layer, mask: FloatArray, counts: bool, window: Window) -> None:
        lights.lay(whole, layer, window)
        np.maximum(shade[window], mask, out=shade[window])
        if counts:
            np.maximum(cover[window], mask, out=cover[window])

    for solid in thing.solids:
        blobs = _moved(solid.blobs, view, shift)
        window = grid.window(*_blob_box(blobs))
        part = grid.cut(window)
        surface = solve(blobs, part, solid.blend, solid.marks is not None)
        organs = _organs(thing, view, shift, part)
        add(lights.solid_layer(solid, surface, organs, light, part, rng), surface.cover, solid.counts, window)
    everywhere = (slice(None), slice(None))
    for facets in thing.facets:
        turned = Facets(facets.normals @ view.T, facets.distance_mm + facets.normals @ view.T @ shift, facets.stuff)
        surface = stone(turned, grid)
        add(lights.plain_layer(surface, facets.stuff, light, grid, rng), surface.cover, True, everywhere)
    for limb in thing.limbs:
        spread = _spread(limb, view, shift)
        pad = float(limb.radii_mm.max()) + 2 * step
        window = grid.window(spread.points.min(0) - pad, spread.points.max(0) + pad)
        part = grid.cut(window)
        surface = rod(spread, part)
        add(lights.plain_layer(surface, limb.stuff, light, part, rng), surface.cover, limb.counts, window)
    for sheet in thing.sheets:
        points = sheet.outline @ view.T + shift
        window = grid.window(points.min(0) - 2 * step, points.max(0) + 2 * step)
        add(*_sheet(sheet, points, grid.cut(window), light, rng), sheet.counts, window)
    for hairs in thing.hairs:
        lines = [line @ view.T + shift for line in hairs.lines]
        every = np.concatenate(lines)
        pad = hairs.width_mm + 2 * step
        window = grid.window(every.min(0) - pad, every.max(0) + pad)
        add(*_hairs(hairs, lines, grid.cut(window), light), hairs.counts, window)

    heavy = shade * np.clip(1.0 - whole.passing.mean(2), 0.0, 1.0)
    passing = whole.passing
    if not below or rng.random() < 0.3:
        strong = rng.uniform(0.2, 0.6) if not below else rng.uniform(0.03, 0.12)
        left = lights.shadow(heavy, light, strong, grid, min(0.2 * thing.width_mm, 0.12))
        passing = passing * (left + (1.0 - left) * heavy)[..., None]
    return _reduce(passing, whole.own, cover, first, fine, thing)


def _reduce(passing: FloatArray, own: FloatArray, cover: FloatArray, first: Points, fine: int, thing: Thing) -> Lent:
    """Area averages of the fine arrays, set in a square with the thing's origin in its middle."""
    rows, cols = cover.shape[0] // fine, cover.shape[1] // fine
    small = [cv2.resize(array, (cols, rows), interpolation=cv2.INTER_AREA) for array in (passing, own, cover)]
    half = int(max(abs(first[0]), abs(first[1]), first[0] + cols - 1, first[1] + rows - 1)) + _MARGIN_PX - 5
    side = 2 * half + 1
    out = [
        np.ones((side, side, 3), np.float32),
        np.zeros((side, side, 3), np.float32),
        np.zeros((side, side), np.float32),
    ]
    top, left = half + int(first[1]), half + int(first[0])
    for whole, part, most in zip(out, small, (1.2, 1.0, 1.0), strict=True):
        whole[top : top + rows, left : left + cols] = np.clip(part, 0.0, most)
    # A shadow fades to nothing before the frame does.
    out[0][np.abs(out[0] - 1.0).max(2) < 0.004] = 1.0
    return Lent(out[0], out[1], out[2], float(thing.length_mm), float(thing.width_mm), thing.curved)
