"""How each hand's bodies and bits are got hold of, without a scene of its own. To add a hand that lends: add an entry to LENDERS."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from vision.render.camera import srgb_decode
from vision.render.hands import PX_PER_MM, glassy, loosened, rounded, strewn, varied
from vision.render.hands.grown import clutter as grown_bits
from vision.render.hands.grown import crawlers
from vision.render.hands.grown.camera import top_light
from vision.render.hands.grown.wet import GREENS
from vision.render.hands.layered import clutter as layered_bits
from vision.render.hands.layered import placing as layered_bodies
from vision.render.hands.layered.sheet import Layers, Light, Pose
from vision.render.hands.lent import Lent, patch_of
from vision.render.hands.pieced import animals, litter
from vision.render.hands.pieced.embodied import embodied
from vision.render.hands.pieced.scene import Lamp
from vision.render.hands.plain import clutter as plain_bits
from vision.render.hands.plain import insects as plain_bodies
from vision.render.hands.plain.anatomy import Mood
from vision.render.hands.plain.canvas import PAD_PX, Canvas, Figure
from vision.render.hands.washed import plant_bits
from vision.render.hands.washed.long_bodied import paint
from vision.render.hands.washed.plans import planned_as
from vision.render.hands.washed.sheet import Stamp
from vision.render.patch import BodyWish, Patch
from vision.types import FloatArray

_Rng = np.random.Generator
_SAME = {"leaf bit": "leaf_bit", "spot": "crumb"}
_LAYERED = {
    "grit": "grit", "soil": "crumb", "plant": "leaf_bit", "bud": "bud", "film": "leaf_bit", "seed": "seed", "fibre": "fibre",
    "hair": "fibre", "root": "rootlet", "stalk": "sliver", "bubble": "bubble", "drop": "drop",
}  # fmt: skip
_PIECED = {
    "grit": "grit", "soil": "crumb", "plant": "leaf_bit", "strip": "sliver", "bud": "bud", "seed": "seed", "sliver": "sliver"
}  # fmt: skip
_GROWN = {"legless": "stalked", "scrap": "leaf_bit", "speck": "crumb", "ring": "leaf_bit"}
_WASHED = {
    "shred": "leaf_bit", "stain": "crumb", "skeleton": "leaf_bit", "petal": "leaf_bit", "stump": "stalked", "anther": "stalked"
}  # fmt: skip
"""What a hand's bits are called among ours; names that are the same are left out."""
_SOAKED = 0.5


@dataclass(frozen=True)
class Lender:
    """A hand's `body(kind, below, rng)`, and its `bit(below, rng)` with the name of its kind; `below`: where the light comes from."""

    body: Callable[[str, bool, _Rng], Lent]
    bit: Callable[[bool, _Rng], tuple[str, Lent]]


def lent_body(wish: BodyWish, rng: _Rng, family: str) -> Patch:
    """An insect of the kind wished for, by any hand of a family of LENDERS."""
    lender = any_lender(rng, family)
    return patch_of(lender.body(wish.kind, wish.to_lamp is None, rng), wish, rng)


def lent_bit(wish: BodyWish, rng: _Rng, family: str) -> tuple[str, Patch]:
    """A bit of any kind by any hand of a family, and the kind; the one wished for counts for nothing."""
    kind, lent = any_lender(rng, family).bit(wish.to_lamp is None, rng)
    return kind, patch_of(lent, wish, rng)


def any_lender(rng: _Rng, family: str) -> Lender:
    """One of a family's hands, by lot."""
    hands = list(LENDERS[family].values())
    return hands[int(rng.integers(len(hands)))]


def _one(rng: _Rng, names: list[str]) -> str:
    return names[int(rng.integers(len(names)))]


def _sized(passing: FloatArray, own: FloatArray, solid: FloatArray) -> Lent:
    """A bit, as long and wide as what it covers is spread."""
    rows, columns = np.nonzero(solid > 0.5 * max(float(solid.max()), 1e-3))
    spread = np.cov(np.stack([columns, rows])) if len(rows) > 2 else np.eye(2) / 12
    short, long = np.sqrt(np.maximum(np.linalg.eigvalsh(spread), 1 / 12))
    return Lent(passing, own, solid, float(4 * long / PX_PER_MM), float(4 * short / PX_PER_MM))


def _layered_light(below: bool, rng: _Rng) -> Light:
    way, slant = rng.uniform(0, 2 * math.pi), 0.45 if below else 0.85
    return Light(below, slant * math.cos(way), slant * math.sin(way), wet=bool(rng.random() < _SOAKED))


def _layered_body(kind: str, below: bool, rng: _Rng) -> Lent:
    pose = Pose(_layered_light(below, rng), float(rng.uniform(0, 2 * math.pi)))
    drawn = layered_bodies.DRAWN_BY[kind](rng, pose)
    passing, own, body = _of_layers(drawn.sheet.reduced())
    return Lent(passing, own, body, drawn.length_mm, drawn.width_mm, drawn.curved)


def _layered_bit(below: bool, rng: _Rng) -> tuple[str, Lent]:
    name = _one(rng, list(layered_bits.DRAWN_BY))
    layers = layered_bits.DRAWN_BY[name](rng, _layered_light(below, rng)).reduced()
    passing, own, _ = _of_layers(layers)
    return _LAYERED[name], _sized(passing, own, layers.alpha)


def _of_layers(layers: Layers) -> tuple[FloatArray, FloatArray, FloatArray]:
    return np.repeat(1 - layers.alpha[..., None], 3, axis=2), layers.colour, layers.body


def _pieced_lamp(below: bool, rng: _Rng) -> Lamp:
    way, lit = rng.uniform(0, 2 * math.pi), rng.uniform(0.42, 0.62) if below else rng.uniform(0.85, 1.0)
    return Lamp(below, math.cos(way), math.sin(way), float(lit))


def _pieced_body(kind: str, below: bool, rng: _Rng) -> Lent:
    animal = animals.MAKERS[kind](rng, bool(rng.random() < _SOAKED))
    sprite = embodied(animal, _pieced_lamp(below, rng), PX_PER_MM, rng)
    width = animal.width_mm * sum(animal.flanks) / 2
    return Lent(sprite.passing, sprite.own, sprite.body, animal.length_mm, width, animal.curved)


def _pieced_bit(below: bool, rng: _Rng) -> tuple[str, Lent]:
    name = _one(rng, [*litter.SORTS, "fibre"])
    lamp = _pieced_lamp(below, rng)
    sprite = litter.fibre(lamp, rng) if name == "fibre" else litter.bit(lamp, rng, name)
    return _PIECED.get(name, name), _sized(sprite.passing, sprite.own, sprite.body)


def _grown_light(below: bool, rng: _Rng) -> FloatArray:
    return top_light(rng, 0.08, 0.4) if below else top_light(rng, 0.8, 1.0)


def _grown_body(kind: str, below: bool, rng: _Rng) -> Lent:
    grown = {make.__name__: make for make in crawlers.MAKERS}[kind](rng)
    own = grown.stamp.add * _grown_light(below, rng)
    return Lent(grown.stamp.keep, own, grown.stamp.body, grown.length_mm, grown.width_mm, grown.curved)


def _grown_bit(below: bool, rng: _Rng) -> tuple[str, Lent]:
    make = grown_bits.ALL[int(rng.integers(len(grown_bits.ALL)))]
    stamp = make(rng, GREENS)
    lent = _sized(stamp.keep, stamp.add * _grown_light(below, rng), 1 - stamp.keep.min(axis=2))
    return _GROWN.get(make.__name__, make.__name__), lent


def _plain_body(kind: str, below: bool, rng: _Rng) -> Lent:
    mood = Mood(heated=bool(rng.random() < 0.3), on_dark=bool(rng.random() < 0.3))
    figure = plain_bodies.MAKERS[kind][1](rng, mood)
    passing, own, body = _of_figure(figure, 1.2 * figure.length_mm, rng)
    return Lent(passing, own, body, figure.length_mm, figure.width_mm, abs(figure.bend_rad) > 0.5)


def _plain_bit(below: bool, rng: _Rng) -> tuple[str, Lent]:
    name = _one(rng, list(plain_bits.MAKERS))
    figure = Figure("debris", 1.0, 1.0, tuple(plain_bits.MAKERS[name](rng)))
    reach = max(float(np.abs(part.outline).max()) for part in figure.parts)
    passing, own, _ = _of_figure(figure, reach, rng)
    return _SAME.get(name, name), _sized(passing, own, 1 - passing.min(axis=2))


def _of_figure(figure: Figure, reach_mm: float, rng: _Rng) -> tuple[FloatArray, FloatArray, FloatArray]:
    """A figure laid on white and on black: what of either is left tells how much it hides and what it is."""
    half = math.ceil(reach_mm * PX_PER_MM) + PAD_PX // 4
    side, angle, seed = 2 * half + 1, float(rng.uniform(0, 360)), int(rng.integers(2**32))
    looks = []
    for ground in (0.0, 1.0):
        flat = np.full((side, side, 3), ground, np.float32)
        labels = np.zeros((side, side), np.int16)
        canvas = Canvas(flat, labels, np.zeros((side, side), np.uint8), np.random.default_rng(seed))
        canvas.lay(figure, half, half, angle, 1)
        looks.append(canvas.pixels)
    hides = np.clip(1 - (looks[1] - looks[0]).mean(axis=2), 0, 1)
    passing, own = _of_paint(looks[0], hides)
    return passing, own, (labels == 1).astype(np.float32)


def _of_paint(rgb: FloatArray, alpha: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Colours as they look, times their opacity (h, w), as light."""
    colour = srgb_decode(np.clip(rgb / np.maximum(alpha, 1e-3)[..., None], 0, 1))
    return np.repeat(1 - alpha[..., None], 3, axis=2), np.asarray(colour * alpha[..., None], np.float32)


def _washed_body(kind: str, below: bool, rng: _Rng) -> Lent:
    plan = planned_as(rng, kind)
    stamp = paint(rng, plan, 0.0, 0.0, float(rng.uniform(0, 360)), PX_PER_MM).stamp
    passing, own = _of_paint(_toned(stamp, below, rng), stamp.alpha)
    return Lent(passing, own, stamp.body, plan.length_mm, plan.width_mm, plan.curved)


def _washed_bit(below: bool, rng: _Rng) -> tuple[str, Lent]:
    make = plant_bits.SORTS[int(rng.integers(len(plant_bits.SORTS)))]
    stamp = make(rng, 0.0, 0.0, PX_PER_MM * float(rng.choice([0.6, 1.0, 1.0, 1.35])))
    passing, own = _of_paint(_toned(stamp, below, rng), stamp.alpha)
    return _WASHED.get(make.__name__, make.__name__), _sized(passing, own, stamp.alpha)


def _toned(stamp: Stamp, below: bool, rng: _Rng) -> FloatArray:
    return np.asarray(stamp.rgb * np.float32(rng.uniform(0.55, 0.9) if below else rng.uniform(0.85, 1.1)), np.float32)


LENDERS = {
    "lent": {
        "layered": Lender(_layered_body, _layered_bit),
        "pieced": Lender(_pieced_body, _pieced_bit),
        "grown": Lender(_grown_body, _grown_bit),
        "plain": Lender(_plain_body, _plain_bit),
        "washed": Lender(_washed_body, _washed_bit),
    },
    "small": {
        "glassy": Lender(glassy.body, glassy.bit),
        "loosened": Lender(loosened.body, loosened.bit),
        "rounded": Lender(rounded.body, rounded.bit),
        "strewn": Lender(strewn.body, strewn.bit),
        "varied": Lender(varied.body, varied.bit),
    },
}
"""By family: the hands that draw lessons, and small ones that draw bodies and bits alone. Those that judge lend nothing."""
