"""Wings: thin veined blades, narrow fringed rods, whole or crumpled."""

import math
from dataclasses import dataclass

import cv2
import numpy as np

from vision.render.hands.loosened.canvas import Canvas
from vision.render.hands.loosened.chance import Points, between, chance, fourier
from vision.render.hands.loosened.patch import Bow
from vision.render.hands.loosened.strands import Strand, lay_strands
from vision.types import FloatArray

_SUB = 4


@dataclass(frozen=True)
class Wing:
    """Outline (n, 2) in mm, veins and fringe as strands, and how much light the blade holds back (0..1)."""

    outline_mm: Points
    veins: list[Strand]
    held: float


def make_wings(style: str, bow: Bow, width_mm: float, side_view: bool, rng: np.random.Generator) -> list[Wing]:
    """Wings of a style ("broad", "veined", "fringed") for a body lying along a bow."""
    narrow = style == "fringed"
    size = {"broad": (1.0, 1.6), "veined": (0.75, 1.15), "fringed": (0.5, 0.72)}[style]
    length = bow.length_mm * between(rng, size)
    broad = length * between(rng, (0.05, 0.11) if narrow else (0.26, 0.44))
    root = between(rng, (0.3, 0.4))
    folded = chance(rng, 0.6)
    spread = between(rng, (0.0, 0.3)) if folded else between(rng, (0.4, 1.7))
    held = between(rng, (0.05, 0.3)) if not narrow else between(rng, (0.1, 0.5))
    crumple = between(rng, (0.01, 0.05)) if chance(rng, 0.7) else between(rng, (0.06, 0.16))
    vein_mm = between(rng, (0.008, 0.024))
    wings = []
    for pair in range(2 if style == "broad" or (narrow and chance(rng, 0.4)) else 1):
        for side in (-1, 1):
            if chance(rng, 0.12):
                continue
            flip = -1 if side_view else side
            open_by = spread * (1 + 0.3 * pair) + rng.normal(0, 0.12) + (0.3 * side if side_view else 0)
            start = bow.at(root + 0.06 * pair, flip * width_mm * 0.3)
            heading = bow.heading(root) + flip * open_by
            shrink = 1 - 0.3 * pair
            wings.append(
                _blade(start, heading, length * shrink, broad * shrink, flip, (held, crumple, vein_mm), narrow, rng)
            )
    return wings


def _blade(
    start_mm: Points,
    heading: float,
    length_mm: float,
    broad_mm: float,
    flip: int,
    feel: tuple[float, float, float],
    narrow: bool,
    rng: np.random.Generator,
) -> Wing:
    """One blade from its hinge along a heading; feel is light held back, crumpling and vein thickness in mm."""
    held, crumple, vein_mm = feel
    u = np.linspace(0, 1, 40)
    lobe = np.sin(math.pi * u ** between(rng, (0.8, 1.35))) ** between(rng, (0.55, 0.8))
    front = broad_mm * 0.35 * lobe * (1 + fourier(u * 0.5, rng, crumple, 4))
    rear = -broad_mm * 0.65 * lobe * (1 + fourier(u * 0.5, rng, crumple * 1.5, 6))
    droop = between(rng, (-0.15, 0.15)) * length_mm * u**2
    turn = np.array([[math.cos(heading), math.sin(heading)], [-math.sin(heading), math.cos(heading)]])

    def place(x: Points, y: Points) -> Points:
        return np.asarray(np.stack([x, flip * y], axis=1) @ turn + start_mm, dtype=np.float64)

    outline = place(np.concatenate([u, u[::-1]]) * length_mm, np.concatenate([front + droop, (rear + droop)[::-1]]))
    veins = []
    shade = between(rng, (0.2, 0.9))
    for number in range(int(rng.integers(1, 3)) if narrow else int(rng.integers(3, 8))):
        share = 1.0 if number == 0 else between(rng, (0.0, 0.9))
        end = 40 if number == 0 else int(rng.integers(22, 40))
        fan = u ** between(rng, (0.5, 1.2))
        line = (rear + (front - rear) * (0.55 + (share - 0.55) * fan) + droop)[:end]
        veins.append(
            Strand(place(u[:end] * length_mm, line), np.full(end, vein_mm * (1.5 if number == 0 else 1)), shade)
        )
    if narrow:
        fringe = between(rng, (0.06, 0.2)) * length_mm
        for hair_u in np.linspace(0.15, 1, int(rng.integers(14, 30))):
            index = int(hair_u * 39)
            foot = np.array([u[index] * length_mm, rear[index] + droop[index]])
            tip = foot + fringe * np.array([between(rng, (0.4, 0.9)), -between(rng, (0.4, 0.8))])
            both = np.array([foot, tip])
            veins.append(Strand(place(both[:, 0], both[:, 1]), np.array([0.008, 0.005]), shade * 0.6))
    return Wing(outline, veins, held)


def wings_reach_mm(wings: list[Wing]) -> float:
    """Distance in mm from the origin to the farthest point of any wing or fringe."""
    parts = [w.outline_mm for w in wings] + [v.places_mm for w in wings for v in w.veins]
    return max((float(np.hypot(p[:, 0], p[:, 1]).max()) for p in parts), default=0.0)


def lay_wings(canvas: Canvas, wings: list[Wing], tint: Points, vein: Points, rng: np.random.Generator) -> None:
    """Draw wings with a blade tint (3,) and a vein colour (3,), both linear."""
    for wing in wings:
        line = canvas.to_px(wing.outline_mm)
        top, bottom, left, right = canvas.window(line, 4)
        mask = np.zeros((bottom - top, right - left), dtype=np.uint8)
        corners = np.rint((line - (left, top)) * 2**_SUB).astype(np.int32)
        cv2.fillPoly(mask, [corners], 255, cv2.LINE_AA, _SUB)
        grain = rng.uniform(0.4, 1.3, (6, 6)).astype(np.float32)
        uneven = cv2.resize(grain, (mask.shape[1], mask.shape[0]), interpolation=cv2.INTER_CUBIC)
        cover: FloatArray = np.asarray(np.clip(mask.astype(np.float32) / 255 * wing.held * uneven, 0, 1))
        through = (0.3 + 0.5 * tint)[None, None].astype(np.float32)
        own = (tint * canvas.hand.lamp * between(rng, (0.5, 1.0)))[None, None].astype(np.float32)
        canvas.lay((slice(top, bottom), slice(left, right)), cover, through, own)
        lay_strands(canvas, wing.veins, vein, rng)
