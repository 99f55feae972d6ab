"""Wings: clear sheets with veins, folded edges and sometimes fringes of hairs."""

from dataclasses import dataclass

import cv2
import numpy as np

from vision.render.hands.glassy.grain import clouds
from vision.render.hands.glassy.limbs import Limb, lay_limbs, strips, thread
from vision.render.hands.glassy.mood import Mood, tint
from vision.render.hands.glassy.sheet import Sheet, brighten, f32, lay, soften, to_px
from vision.types import FloatArray


@dataclass(frozen=True)
class Wing:
    """A wing from its root (2,) in mm, heading in radians, length and width in mm; ``flank`` is its rear side."""

    root_mm: FloatArray
    heading: float
    length_mm: float
    width_mm: float
    flank: float
    veins: str

    @property
    def reach_mm(self) -> float:
        """How far it can go from the origin in mm."""
        return float(np.linalg.norm(self.root_mm)) + self.length_mm + self.width_mm * 0.3


def _points(wing: Wing, along: FloatArray, across: FloatArray) -> FloatArray:
    """Points (n, 2) in mm at shares of the wing's length and width."""
    ahead = f32([np.cos(wing.heading), np.sin(wing.heading)])
    aside = f32([-ahead[1], ahead[0]]) * wing.flank
    return f32(wing.root_mm + np.outer(along * wing.length_mm, ahead) + np.outer(across * wing.width_mm, aside))


def _outline(wing: Wing, rng: np.random.Generator) -> FloatArray:
    """The rim (n, 2) in mm of a wing: straight front edge, full rear edge, maybe a torn tip."""
    grid = np.linspace(0, 1, 24)
    front = -0.16 * np.sin(np.pi * grid**0.8)
    rear = 0.84 * np.sin(np.pi * np.clip(grid, 0, 1) ** rng.uniform(1.3, 1.9)) ** 0.8
    if rng.random() < 0.3:
        rear = rear * (1 - 0.25 * np.clip(np.sin(grid * 21 + rng.uniform(0, 6)), 0, 1))
    along = np.concatenate([grid, grid[::-1]])
    across = np.concatenate([front, np.clip(rear, 0, None)[::-1]])
    return _points(wing, f32(along), f32(across))


def lay_wings(sheet: Sheet, wings: list[Wing], mood: Mood, rng: np.random.Generator) -> None:
    """Lay clear wings one over the other; they do not count as body."""
    if not wings:
        return
    film = tint(rng, ((0.85, 0.83, 0.75), (0.7, 0.66, 0.55), (0.8, 0.84, 0.88)))
    vein = tint(rng, ((0.35, 0.25, 0.12), (0.12, 0.08, 0.05), (0.6, 0.5, 0.3)))
    density = rng.uniform(0.06, 0.4)
    ripple = clouds(sheet, 0.18, rng)
    for wing in wings:
        rim = _outline(wing, rng)
        plane = np.zeros(sheet.body.shape, np.uint8)
        cv2.fillPoly(plane, [np.rint(to_px(sheet, rim) * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
        cover = f32(plane / 255)
        crease = np.exp(-((ripple / 0.2) ** 2)) * rng.uniform(0, 1.5)
        edge = np.clip(cover - soften(sheet, cover, 0.018), 0, 1)
        lay(
            sheet,
            soften(sheet, f32(cover * density * (0.7 + 0.5 * crease + 2.5 * edge)), mood.limb_blur_mm),
            film,
            0.25,
            0.9,
        )
        brighten(sheet, f32(cover * np.clip(ripple - 1.1, 0, 1)), 0.2)
        grid = f32(np.linspace(0, 1, 12))
        lines = []
        ends = {"few": (-0.1, 0.15, 0.5), "many": (-0.12, 0.1, 0.35, 0.62, 0.8), "fringe": (0.2,)}[wing.veins]
        for end in ends:
            run = 0.96 - 0.32 * max(end, 0)
            across = f32(end * (grid**1.3) * 0.95 - 0.12 * np.sin(np.pi * grid) * (end < 0.2))
            lines.append(Limb(_points(wing, f32(grid * run), across), f32(0.02 - 0.009 * grid)))
        if wing.veins == "many":
            lines.append(Limb(_points(wing, f32([0.45, 0.5]), f32([-0.08, 0.25])), f32([0.012, 0.012])))
        lay_limbs(sheet, lines, vein, rng.uniform(0.4, 1.2), 0.1, mood.limb_blur_mm, 0.3)
        if wing.veins == "fringe":
            _fringe(sheet, wing, vein, mood, rng)


def _fringe(
    sheet: Sheet, wing: Wing, pigment: tuple[float, float, float], mood: Mood, rng: np.random.Generator
) -> None:
    """Long thin hairs along both edges of a narrow wing."""
    hairs = []
    slant = rng.uniform(0.35, 0.8)
    for share in np.linspace(0.2, 1.0, 22):
        for edge in (-1.0, 1.0):
            at = _points(wing, f32([share]), f32([0.3 * edge]))[0]
            long = wing.length_mm * rng.uniform(0.14, 0.24) * (1.2 if edge > 0 else 0.6)
            hairs.append(thread(at, wing.heading + wing.flank * edge * slant, long, rng.normal(0, 0.2), 0.008, 0.4))
    cover = strips(sheet, hairs)
    lay(sheet, soften(sheet, f32(cover * rng.uniform(0.2, 0.6)), mood.limb_blur_mm * 0.8), pigment, 0.1, 0.8)
