"""Jointed limbs, hairs and threads, drawn as tapering strips."""

from dataclasses import dataclass

import cv2
import numpy as np

from vision.render.hands.glassy.sheet import Colour, Sheet, f32, lay, soften, to_px
from vision.types import FloatArray


@dataclass(frozen=True)
class Limb:
    """A line of points (n, 2) in mm with full widths (n,) in mm."""

    points_mm: FloatArray
    wide_mm: FloatArray


def jointed(
    root_mm: FloatArray,
    heading: float,
    parts_mm: tuple[float, ...],
    bends: tuple[float, ...],
    wide_mm: float,
    rng: np.random.Generator,
    keep: float = 1.0,
) -> Limb:
    """A limb from ``root_mm`` with parts of given lengths; ``bends`` in radians before each; ``keep`` cuts it short."""
    points = [np.asarray(root_mm, dtype=np.float64)]
    wide = [wide_mm * 1.2]
    for number, (length, bend) in enumerate(zip(parts_mm, bends, strict=True)):
        heading += bend
        sag = rng.normal(0, 0.08)
        for piece in range(3):
            heading += sag
            points.append(points[-1] + length / 3 * np.array([np.cos(heading), np.sin(heading)]))
            swell = 1.35 if piece == 1 and number == 0 else 1.0
            wide.append(wide_mm * swell * max(0.35, 1 - 0.24 * number - 0.06 * piece))
    count = max(2, round(len(points) * keep))
    return Limb(f32(points[:count]), f32(wide[:count]))


def thread(root_mm: FloatArray, heading: float, length_mm: float, curl: float, wide_mm: float, tip: float) -> Limb:
    """An evenly bowed thread: ``curl`` radians from end to end, ``tip`` the share of its width left at the end."""
    turns = heading + np.linspace(0, curl, 9)
    steps = np.stack([np.cos(turns), np.sin(turns)], axis=1) * length_mm / 9
    points = np.vstack([root_mm, root_mm + np.cumsum(steps, axis=0)])
    return Limb(f32(points), f32(wide_mm * np.linspace(1, tip, 10)))


def reach_mm(limbs: list[Limb]) -> float:
    """How far the limbs go from the origin in mm."""
    return max((float(np.abs(np.linalg.norm(limb.points_mm, axis=1)).max()) for limb in limbs), default=0.0)


def strips(sheet: Sheet, limbs: list[Limb]) -> FloatArray:
    """Cover (h, w) 0..1 of all limbs together; strips thinner than a fine pixel are drawn fainter."""
    plane = np.zeros(sheet.body.shape, np.uint8)
    for limb in limbs:
        at = to_px(sheet, limb.points_mm)
        wide = limb.wide_mm * sheet.fine_px
        drawn = np.maximum(wide, 1.2)
        if wide.max() < 1.5:
            # A hair: its taper is finer than a fine pixel, so one faint line will do.
            shade = int(255 * min(1.0, float(wide.mean()) / 1.2))
            cv2.polylines(plane, [np.rint(at * 16).astype(np.int32)], False, shade, 1, cv2.LINE_AA, 4)
            continue
        for number in range(len(at) - 1):
            shade = int(255 * min(1.0, float(wide[number]) / 1.2))
            along = at[number + 1] - at[number]
            span = float(np.hypot(along[0], along[1]))
            if span < 1e-3:
                continue
            normal = f32([-along[1], along[0]]) / span / 2
            quad = np.stack(
                [
                    at[number] + normal * drawn[number],
                    at[number + 1] + normal * drawn[number + 1],
                    at[number + 1] - normal * drawn[number + 1],
                    at[number] - normal * drawn[number],
                ]
            )
            cv2.fillConvexPoly(plane, np.rint(quad * 16).astype(np.int32), shade, cv2.LINE_AA, 4)
            if drawn[number] > 2.5:
                centre = (int(at[number][0] * 16), int(at[number][1] * 16))
                cv2.circle(plane, centre, int(drawn[number] * 8), shade, -1, cv2.LINE_AA, 4)
    return f32(plane / 255)


def lay_limbs(
    sheet: Sheet, limbs: list[Limb], pigment: Colour, density: float, milk: float, blur_mm: float, rim: float
) -> None:
    """Lay limbs as thin clear pipes: darker along their edges, out of focus by ``blur_mm``."""
    if not limbs:
        return
    cover = strips(sheet, limbs)
    wide = float(np.median(np.concatenate([limb.wide_mm for limb in limbs])))
    core = soften(sheet, cover, wide * 0.35)
    edge = np.clip(cover - core, 0, 1)
    lay(sheet, soften(sheet, f32(cover * density * (0.75 + rim * 2.2 * edge)), blur_mm), pigment, milk, 0.8)
