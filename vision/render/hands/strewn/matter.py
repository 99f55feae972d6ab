"""Matters, colours and light: from parts in space to what passes and what is thrown back."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands import PX_PER_MM
from vision.render.hands.lent import Lent
from vision.render.hands.strewn.coats import Coat, Rng
from vision.render.hands.strewn.solids import Box, Doubles, Facets, Field, Lattice, Solid
from vision.types import FloatArray

EDGE_PX = 8

Inner = tuple[Solid, Doubles, float]


@dataclass(frozen=True)
class Part:
    """A solid in its coat, with (solid, colour, depth) things inside it."""

    solid: Solid | Facets
    coat: Coat
    inner: tuple[Inner, ...] = ()
    z_mm: float = 0.0
    is_body: bool = True


@dataclass(frozen=True)
class Limb:
    """A bent rod: points (n, 3) and radii (n,) in mm."""

    points: Doubles
    radii_mm: Doubles
    colour: Doubles
    depth: float
    z_mm: float = 0.0
    is_body: bool = False


@dataclass(frozen=True)
class Sheet:
    """A thin skin: outline (n, 3) mm, with lines (each (m, 3) mm, width in mm) drawn in it."""

    outline: Doubles
    colour: Doubles
    depth: float
    lines: tuple[tuple[Doubles, float], ...] = ()
    line_colour: Doubles = field(default_factory=lambda: np.full(3, 0.1))
    line_depth: float = 0.8
    mottle: float = 0.2
    grain_mm: float = 0.1
    shine: float = 0.1
    z_mm: float = 0.0
    is_body: bool = False


Thing = Part | Limb | Sheet


def noise(shape: tuple[int, int], cell_px: float, rng: Rng) -> FloatArray:
    """(h, w) smooth noise of about unit spread with bumps of the given size in fine samples."""
    small = rng.normal(0, 1.3, (int(max(shape) / cell_px) + 3,) * 2).astype(np.float32)
    # Turned and unevenly scaled, so that no thing shows the raster the noise was thrown on.
    turned = cv2.getRotationMatrix2D((shape[1] / 2, shape[0] / 2), rng.uniform(0, 360), 1.0) / cell_px
    turned[0] *= rng.uniform(0.6, 1.0)
    flags = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    size = (shape[1], shape[0])
    return cv2.warpAffine(
        small, np.asarray(turned, np.float64), size, flags=flags, borderMode=cv2.BORDER_REFLECT
    ).astype(np.float32)


def _weight(tone: Doubles) -> FloatArray:
    return (-np.log(np.clip(tone, 0.01, 0.96))).astype(np.float32)


Matter = tuple[FloatArray, Doubles, float]
"""Optical depth (n,), its colour (3,), and how near the surface it lies."""


@dataclass(frozen=True)
class Face:
    """What of a solid is seen, (n,) pixels: normals (n, 3), how far they face us, thickness 0..1, two grains of noise."""

    normal: FloatArray
    facing: FloatArray
    thick: FloatArray
    fine: FloatArray
    broad: FloatArray


def _face(seen: Field, coat: Coat, lattice: Lattice, rng: Rng) -> Face:
    mask = seen.mask
    fine = noise((mask.shape[0], mask.shape[1]), max(coat.grain_mm * lattice.per_mm, 2.0), rng)
    broad = noise((mask.shape[0], mask.shape[1]), max(coat.grain_mm * 4 * lattice.per_mm, 4.0), rng)
    normal = seen.normal.copy()
    normal[:, 0] += coat.bump * np.gradient(fine, axis=1)[mask] * 2
    normal[:, 1] += coat.bump * np.gradient(fine, axis=0)[mask] * 2
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    thick = seen.half_mm[mask] / np.float32(seen.half_mm.max())
    return Face(normal, np.maximum(normal[:, 2], 0.05), thick, fine[mask], broad[mask])


def _of_coat(seen: Field, face: Face, coat: Coat) -> list[Matter]:
    """Skin with its rings, stripes and spots, and flesh."""
    mottle = np.exp(coat.mottle * (face.fine * 0.7 + face.broad))
    skin = np.float32(coat.skin_depth) * mottle / np.maximum(face.facing, 0.35)
    if coat.rings:
        skin *= 1 + coat.ring_gain * np.cos(2 * np.pi * coat.rings * seen.along).astype(np.float32)
    for middle, width, gain in coat.stripes:
        off = np.angle(np.exp(1j * (seen.angle - middle))) / width
        skin *= 1 + gain * np.exp(-off * off).astype(np.float32)
    if coat.spots:
        skin *= 1 + coat.spots * np.clip(face.broad * 2 - 1, 0, 1)
    return [(skin, coat.skin, 1.0), (np.float32(coat.flesh_depth) * face.thick, coat.flesh, 0.6)]


def _lit(face: Face, matters: list[Matter], coat: Coat, lamp: FloatArray) -> tuple[FloatArray, FloatArray]:
    """What passes and what is thrown back, (n, 3) each."""
    normal, facing, thick = face.normal, face.facing, face.thick
    taken = np.zeros((len(thick), 3), np.float32)
    shown = np.zeros_like(taken)
    solidity = np.full(len(thick), 1e-4, np.float32)
    for amount, tone, near in matters:
        amount = np.maximum(amount, 0)
        taken += amount[:, None] * (_weight(tone) + np.float32(coat.haze))
        # What lies near the surface shows more in light from above.
        shown += (amount * np.float32(near))[:, None] * tone.astype(np.float32)
        solidity += amount * np.float32(near)
    through = np.exp(-taken) * (1 - coat.rim * np.minimum(1.2 * (1 - facing), 1) ** 1.6)[:, None]
    through *= (1 + coat.lens * np.clip((facing - 0.75) * 4, 0, 1) - 0.5 * coat.lens * (1 - facing))[:, None]
    light = np.clip(normal @ lamp, 0, 1)
    half_way = lamp + np.array([0, 0, 1], np.float32)
    shine = np.clip(normal @ (half_way / np.linalg.norm(half_way)), 0, 1)
    shade = 0.3 + 0.7 * light + 0.12 * (1 - thick)
    back = shown / solidity[:, None] * shade[:, None] * (1 - np.exp(-solidity * (1.0 + coat.haze)))[:, None]
    back += (coat.glint * (shine**60 + 0.12 * shine**8 + 0.2 * (1 - facing) ** 3))[:, None]
    return through, back


@dataclass
class Picture:
    """The layers laid so far on the fine grid, from the lowest up."""

    lattice: Lattice
    passing: FloatArray
    own: FloatArray
    body: FloatArray
    lamp: FloatArray

    def lay(self, box: Box, cover: FloatArray, through: FloatArray, back: FloatArray, is_body: bool) -> None:
        """Lay one layer over the rest: cover (h, w); through and back (h, w, 3) where it covers."""
        some = cover[..., None]
        through = 1 + some * (through - 1)
        self.passing[box] *= through
        self.own[box] = self.own[box] * through + some * back
        if is_body:
            self.body[box] = np.maximum(self.body[box], cover)

    def part(self, part: Part, rng: Rng) -> None:
        """A solid: optical depths of its skin, flesh and things inside; light on its bumpy face."""
        seen = part.solid.field(self.lattice)
        if not seen.mask.any():
            return
        face = _face(seen, part.coat, self.lattice, rng)
        matters = [*_of_coat(seen, face, part.coat), *self._inside(seen, part.inner)]
        through, back = _lit(face, matters, part.coat, self.lamp)
        full_through = np.ones((*seen.mask.shape, 3), np.float32)
        full_back = np.zeros((*seen.mask.shape, 3), np.float32)
        full_through[seen.mask], full_back[seen.mask] = through, back
        self.lay(seen.box, seen.mask.astype(np.float32), full_through, full_back, part.is_body)

    def _inside(self, seen: Field, inner: tuple[Inner, ...]) -> list[Matter]:
        """What lies inside a solid, where the solid is seen."""
        out: list[Matter] = []
        for solid, tone, depth in inner:
            inside = solid.field(self.lattice)
            whole = np.zeros((self.lattice.side_px,) * 2, np.float32)
            whole[inside.box] = inside.half_mm / max(float(inside.half_mm.max()), 1e-6)
            out.append((np.float32(depth) * whole[seen.box][seen.mask] ** np.float32(0.8), tone, 0.5))
        return out

    def limb(self, limb: Limb) -> None:
        """A rod as capsules: its roundness shades both the light through it and on it."""
        widest = float(limb.radii_mm.max())
        flat = limb.points[:, :2]
        box, x_mm, y_mm = self.lattice.crop(flat.min(axis=0) - widest, flat.max(axis=0) + widest)
        cover = np.zeros((y_mm.shape[0], x_mm.shape[1]), np.float32)
        height = np.zeros_like(cover)
        for (ax, ay), (bx, by), ra, rb in zip(flat[:-1], flat[1:], limb.radii_mm[:-1], limb.radii_mm[1:], strict=True):
            reach = max(ra, rb) + 2 / self.lattice.per_mm
            cols = slice(*np.searchsorted(x_mm[0], [min(ax, bx) - reach, max(ax, bx) + reach]))
            rows = slice(*np.searchsorted(y_mm[:, 0], [min(ay, by) - reach, max(ay, by) + reach]))
            dx, dy = x_mm[:, cols] - np.float32(ax), y_mm[rows] - np.float32(ay)
            ex, ey = np.float32(bx - ax), np.float32(by - ay)
            t = np.clip((dx * ex + dy * ey) / max(float(ex * ex + ey * ey), 1e-9), 0, 1)
            away = np.hypot(dx - t * ex, dy - t * ey)
            radius = np.float32(ra) + t * np.float32(rb - ra)
            edge = np.clip((radius - away) * np.float32(self.lattice.per_mm) + 0.5, 0, 1)
            cover[rows, cols] = np.maximum(cover[rows, cols], edge)
            up = np.sqrt(np.maximum(1 - (away / radius) ** 2, 0.04))
            height[rows, cols] = np.maximum(height[rows, cols], up * (edge > 0))
        depth = np.float32(limb.depth) * (0.4 + 0.6 * height)
        through = np.exp(-depth[..., None] * (_weight(limb.colour) + 0.4))
        shown = (0.3 + 0.6 * height) * (1 - np.exp(-2.0 * depth))
        self.lay(box, cover, through, shown[..., None] * limb.colour.astype(np.float32), limb.is_body)

    def sheet(self, sheet: Sheet, rng: Rng) -> None:
        """A thin skin with lines in it; folds and stains come from noise."""
        corners = [sheet.outline] + [line for line, _ in sheet.lines]
        flat = np.concatenate(corners)[:, :2]
        box, x_mm, y_mm = self.lattice.crop(flat.min(axis=0) - 0.03, flat.max(axis=0) + 0.03)
        shape = (y_mm.shape[0], x_mm.shape[1])
        start = np.array([box[1].start, box[0].start])

        def fixed(points: Doubles) -> NDArray[np.int32]:
            return np.asarray(np.round((self.lattice.to_px(points) - start) * 16), np.int32)

        area = np.zeros(shape, np.uint8)
        cv2.fillPoly(area, [fixed(sheet.outline)], 255, cv2.LINE_AA, 4)
        marks = np.zeros(shape, np.uint8)
        for line, width_mm in sheet.lines:
            wide = max(1, round(width_mm * self.lattice.per_mm))
            strength = int(min(255, 255 * width_mm * self.lattice.per_mm))
            cv2.polylines(marks, [fixed(line)], False, strength, wide, cv2.LINE_AA, 4)
        skin, drawn = area.astype(np.float32) / 255, marks.astype(np.float32) / 255
        stains = noise(shape, max(sheet.grain_mm * self.lattice.per_mm, 3), rng)
        depth = np.float32(sheet.depth) * np.exp(np.float32(sheet.mottle) * stains) * skin
        ink = np.float32(sheet.line_depth) * drawn
        taken = depth[..., None] * (_weight(sheet.colour) + 0.3) + ink[..., None] * (_weight(sheet.line_colour) + 0.3)
        tone = (depth[..., None] * sheet.colour + ink[..., None] * sheet.line_colour).astype(np.float32)
        total = depth + ink
        slope = np.gradient(stains, axis=1)
        shade = np.clip(0.75 + 1.2 * slope, 0.3, 1)
        back = tone * ((1 - np.exp(-1.6 * total)) / np.maximum(total, 1e-4) * shade)[..., None]
        back += (np.float32(sheet.shine) * skin * np.clip(stains - 0.6, 0, 1))[..., None]
        self.lay(box, np.maximum(skin, (drawn > 0).astype(np.float32)), np.exp(-taken), back, False)
        if sheet.is_body:
            self.body[box] = np.maximum(self.body[box], skin)


def _extent(thing: Thing) -> float:
    """Farthest x or y of a thing from the origin in mm."""
    if isinstance(thing, Part):
        low, high = thing.solid.bounds()
        return float(max(np.abs(low).max(), np.abs(high).max()))
    if isinstance(thing, Limb):
        return float(np.abs(thing.points[:, :2]).max() + thing.radii_mm.max())
    return max(float(np.abs(line[:, :2]).max()) for line in (thing.outline, *(line for line, _ in thing.lines))) + 0.05


def measure(body: FloatArray) -> tuple[float, float, float]:
    """Long side, short side and greatest inner width in mm of a (h, w) mask given in picture pixels."""
    big = cv2.resize(body, None, fx=3, fy=3, interpolation=cv2.INTER_LINEAR)
    mask = (big > 0.5 * big.max()).astype(np.uint8)
    if not mask.any():
        return (1 / PX_PER_MM,) * 3
    sides = cv2.minAreaRect(cv2.findNonZero(mask))[1]
    inner = 2 * float(cv2.distanceTransform(mask, cv2.DIST_L2, 5).max())
    scale = 3 * PX_PER_MM
    return (max(sides) + 1) / scale, (min(sides) + 1) / scale, inner / scale


def render(things: list[Thing], below: bool, rng: Rng, bow_mm: float | None = None) -> Lent:
    """Draw things about the origin; bow_mm is the length along a curve, 0 for one straight body, None for the rest."""
    uni, reach_mm = rng.uniform, max(_extent(t) for t in things)
    half_px = int(np.ceil(reach_mm * PX_PER_MM)) + EDGE_PX
    scale = 4 if reach_mm < 1.8 else 3
    side = (2 * half_px + 1) * scale
    shift = uni(-0.5, 0.5, 2) * scale
    lattice = Lattice(side, PX_PER_MM * scale, (float(shift[0]), float(shift[1])))
    swing, rise = uni(0, 2 * np.pi), uni(0.3, 0.75)
    lamp = np.array([np.cos(swing) * rise, np.sin(swing) * rise, np.sqrt(1 - rise * rise)], np.float32)
    picture = Picture(
        lattice,
        np.ones((side, side, 3), np.float32),
        np.zeros((side, side, 3), np.float32),
        np.zeros((side, side), np.float32),
        lamp,
    )
    for thing in sorted(things, key=lambda t: t.z_mm):
        if isinstance(thing, Part):
            picture.part(thing, rng)
        elif isinstance(thing, Limb):
            picture.limb(thing)
        else:
            picture.sheet(thing, rng)
    size = (2 * half_px + 1,) * 2
    passing, own, body = (
        np.asarray(cv2.resize(layer, size, interpolation=cv2.INTER_AREA), np.float32)
        for layer in (picture.passing, picture.own, picture.body)
    )
    room = uni(0.05, 0.4) if below else uni(0.8, 1.05)
    long, short, inner = measure(body)
    passing, own, body = np.clip(passing, 0, 1.2), np.clip(own * np.float32(room), 0, 1), np.clip(body, 0, 1)
    if bow_mm is None:
        return Lent(passing, own, body, long, short)
    return Lent(passing, own, body, bow_mm or long, inner, bow_mm > 0)
