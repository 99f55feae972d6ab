"""How light goes through and off a part: one layer of light for each part, and how layers lie over each other."""

from dataclasses import dataclass

import cv2
import numpy as np

from vision.render.hands.rounded.matter import Colour, Solid, Stuff
from vision.render.hands.rounded.noise import cloud, ridges
from vision.render.hands.rounded.surface import Grid, Surface
from vision.types import FloatArray

_GONE = -40.0
Organ = tuple[Solid, Surface, tuple[slice, slice]]  # with its window inside the solid that holds it


@dataclass(frozen=True)
class Lamp:
    """Light of the scene: `toward` (3,) points to the lamp; `strength` and `ambient` are shares of a white's light."""

    toward: FloatArray
    strength: float
    ambient: float
    wet: float
    below: bool


@dataclass(frozen=True)
class Layer:
    """One part's share of light let through (h, w, 3), own light (h, w, 3) and height of its front (h, w) in mm."""

    passing: FloatArray
    own: FloatArray
    height: FloatArray

    def cut(self, window: tuple[slice, slice]) -> "Layer":
        """Views of the arrays inside a window."""
        return Layer(self.passing[window], self.own[window], self.height[window])


def lamp(below: bool, rng: np.random.Generator) -> Lamp:
    """A dim room when light comes from below, else a lamp above from a random side."""
    turn, tilt = rng.uniform(0, 2 * np.pi), rng.uniform(0.25, 0.9)
    toward = np.array([np.cos(turn) * np.sin(tilt), np.sin(turn) * np.sin(tilt), np.cos(tilt)], np.float32)
    if below:
        dim = rng.uniform(0.06, 0.42)
        return Lamp(toward, dim * 0.5, dim * 0.5, rng.uniform(0.0, 0.12), True)
    level = rng.uniform(0.75, 1.0)
    return Lamp(toward, level * rng.uniform(0.5, 0.75), level * rng.uniform(0.25, 0.45), rng.uniform(0.1, 0.7), False)


def _shade(
    surface: Surface, made: Stuff, light: Lamp, relief: FloatArray | None, step_mm: float
) -> tuple[FloatArray, FloatArray]:
    """Brightness (h, w) of a white surface so shaped, and its wet highlight (h, w)."""
    normal = surface.normal
    if relief is not None:
        down, across = np.gradient(relief)
        tip = np.float32(made.bump * 0.035 / step_mm)
        normal = normal - np.stack([across * tip, down * tip, 0 * down], 2)
        normal = normal / np.maximum(np.linalg.norm(normal, axis=2, keepdims=True), 1e-6)
    facing = np.clip(normal @ light.toward, 0.0, 1.0)
    bright = light.strength * facing + light.ambient * (0.55 + 0.45 * np.clip(normal[..., 2], 0.0, 1.0))
    between = light.toward + np.array([0, 0, 1], np.float32)
    between = between / np.linalg.norm(between)
    shine = np.clip(normal @ between, 0.0, 1.0) ** (60.0 if made.gloss > 0.3 else 18.0)
    return bright.astype(np.float32), (shine * made.gloss * light.wet).astype(np.float32)


def _rgb(values: Colour) -> FloatArray:
    return np.asarray(values, np.float32)


def _path(surface: Surface, made: Stuff) -> FloatArray:
    """Length in mm (h, w) that light goes inside the stuff."""
    thick: FloatArray = np.maximum(surface.front - surface.back, 0.0)
    if made.shell_mm <= 0:
        return thick
    walls = 2.0 * made.shell_mm / np.clip(np.abs(surface.normal[..., 2]), 0.16, 1.0)
    shorter: FloatArray = np.minimum(thick, walls)
    return shorter


def solid_layer(
    part: Solid, surface: Surface, organs: list[Organ], light: Lamp, grid: Grid, rng: np.random.Generator
) -> Layer:
    """Light through and off one solid with its organs inside."""
    made = part.stuff
    cell = made.grain_mm / grid.step_mm
    relief = cloud(grid.shape, max(cell, 2.0), rng) if made.bump + made.grain > 0.02 else None
    path = _path(surface, made)
    density = surface.dark if relief is None else surface.dark * np.clip(1.0 + made.grain * relief, 0.15, 3.0)
    depth = (path * density)[..., None] * _rgb(made.absorb)
    albedo = _rgb(made.albedo) * np.clip(1.3 - 0.3 * surface.dark, 0.3, 1.25)[..., None]
    if relief is not None:
        albedo = albedo * np.clip(1.0 + 0.35 * made.grain * relief, 0.3, 1.6)[..., None]
    murk = float(np.mean(made.absorb)) + 0.5
    for organ, inner, window in organs:
        skin = surface.front[window]
        front = np.minimum(inner.front, skin)
        inside = np.maximum(front - np.maximum(inner.back, surface.back[window]), 0.0) * inner.cover
        extra = (inside * inner.dark)[..., None] * _rgb(organ.stuff.absorb)
        depth[window] += extra
        seen = (1.0 - np.exp(-extra.mean(2))) * np.exp(-murk * np.clip(skin - front, 0.0, 2.0) * 0.7)
        albedo[window] += seen[..., None] * (_rgb(organ.stuff.albedo) - albedo[window])
    if part.marks is not None:
        pair = [np.clip(part.marks(*np.moveaxis(seat, 2, 0)), 0.0, 1.0) for seat in (surface.seat, surface.seat_back)]
        depth = depth + (pair[0] + pair[1])[..., None] * _rgb(made.mark_depth)
        albedo = albedo + pair[0][..., None] * (_rgb(made.mark_albedo) - albedo) * 0.85
    if made.crease > 0.01:
        lines = ridges(grid.shape, max(cell * 1.6, 4.0), rng)
        depth = depth + (made.crease * lines)[..., None]
        albedo = albedo * (1.0 - min(0.4 * made.crease, 0.4) * lines)[..., None]
    return _finish(surface, made, depth, albedo, light, relief, grid)


def _finish(
    surface: Surface,
    made: Stuff,
    depth: FloatArray,
    albedo: FloatArray,
    light: Lamp,
    relief: FloatArray | None,
    grid: Grid,
) -> Layer:
    steep = 1.0 - np.clip(surface.normal[..., 2], 0.0, 1.0)
    rim = (
        1.0 - made.rim * steep**3
        if made.rim >= 0
        else 1.0 - made.rim * 0.35 * np.clip(4 * steep * (1 - steep), 0, 1) ** 2
    )
    edge = rim + made.lens * np.clip(0.7 - 2.2 * steep, -0.2, 0.7)
    if made.ring > 0:
        edge = edge * (0.06 + 0.94 * np.clip((1.0 - steep - made.ring) / 0.22 + 0.5, 0.0, 1.0))
    through = np.exp(-depth) * edge[..., None]
    bright, shine = _shade(surface, made, light, relief, grid.step_mm)
    # Scattered light goes both ways through thin stuff, so clear stuff throws little of its own colour back.
    body = 1.0 - np.exp(-(depth.mean(2, keepdims=True) * (1.0 if light.below else 1.6) + 0.05 * steep[..., None]))
    own = albedo * bright[..., None] * body + shine[..., None]
    if not light.below:
        through = through * np.exp(-0.6 * depth)
        own = own + (max(made.rim, 0.0) * 0.16 * light.strength * steep**4)[..., None]
    cover = surface.cover[..., None]
    height = np.where(surface.cover > 0.02, surface.front, _GONE)
    return Layer((1.0 - cover + cover * through).astype(np.float32), (cover * own).astype(np.float32), height)


def plain_layer(surface: Surface, made: Stuff, light: Lamp, grid: Grid, rng: np.random.Generator) -> Layer:
    """Light through and off a limb or a stone."""
    relief = None
    depth = np.maximum(surface.front - surface.back, 0.0)[..., None] * _rgb(made.absorb)
    if made.grain > 0.05:
        relief = cloud(grid.shape, max(made.grain_mm / grid.step_mm, 2.0), rng)
        depth = depth * np.clip(1.0 + made.grain * relief, 0.2, 3.0)[..., None]
    albedo = np.broadcast_to(_rgb(made.albedo), depth.shape)
    return _finish(surface, made, depth.astype(np.float32), albedo, light, relief, grid)


def film_layer(cover: FloatArray, depth: FloatArray, albedo: Colour, height: FloatArray, light: Lamp) -> Layer:
    """Light through and off a thin film or hairs: cover (h, w), optical depth (h, w, 3)."""
    level = light.strength * float(light.toward[2]) + light.ambient
    body = 1.0 - np.exp(-depth * (1.0 if light.below else 1.7))
    shut = cover[..., None]
    own = shut * _rgb(albedo) * level * body
    through = 1.0 - shut + shut * np.exp(-depth)
    return Layer(through.astype(np.float32), own.astype(np.float32), np.where(cover > 0.02, height, _GONE))


def lay(whole: Layer, part: Layer, window: tuple[slice, slice]) -> None:
    """Add a part to the whole in its window: at each place the higher one lies over the other."""
    under = whole.cut(window)
    above = (part.height >= under.height)[..., None]
    whole.own[window] = np.where(above, part.own + part.passing * under.own, under.own + under.passing * part.own)
    whole.passing[window] *= part.passing
    np.maximum(under.height, part.height, out=whole.height[window])


def shadow(cover: FloatArray, light: Lamp, strength: float, grid: Grid, reach_mm: float) -> FloatArray:
    """Share of light (h, w) left on the ground around a thing that touches it."""
    offset = -light.toward[:2] * (reach_mm / grid.step_mm)
    move = np.array([[1.0, 0.0, offset[0]], [0.0, 1.0, offset[1]]], np.float64)
    moved = cv2.warpAffine(cover, move, (cover.shape[1], cover.shape[0]))
    soft = cv2.GaussianBlur(moved, (0, 0), max(reach_mm * 0.45 / grid.step_mm, 0.8))
    return (1.0 - strength * soft).astype(np.float32)
