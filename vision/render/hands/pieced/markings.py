"""What a body has on it: segments, stripes, warts, eyes, bands. Strengths and places are from memory.

Each function takes where pixels lie on the body and gives (h, w) float32 to multiply its light by; colours are laid over in `base_of`.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from vision.render.hands.pieced.animals import Animal
from vision.render.hands.pieced.spine import Across
from vision.render.hands.pieced.textures import Plane, linear, pick, rise
from vision.types import FloatArray

_SEGMENTS = {"aphid": 9, "skin": 9, "thrips": 12, "larva": 10, "caterpillar": 13, "gnat": 12}
_HEADS = [(58, 40, 28), (92, 62, 36), (34, 28, 26), (150, 120, 60)]


def seams(animal: Animal, on: Across) -> FloatArray:
    """(h, w) 1 on the lines between segments, 0 away from them and on what has none."""
    count = _SEGMENTS.get(animal.kind, 0)
    if not count:
        return np.zeros_like(on.along)
    phase = on.along * count + 0.12 * on.out**2
    return _bump(phase - np.round(phase), 0.16)


def _bump(x: Plane, width: float) -> FloatArray:
    return np.asarray(np.exp(-((x / width) ** 2)), np.float32)


def _spot(on: Across, along: float, lateral: float, long: float, wide: float) -> FloatArray:
    return np.asarray(_bump(on.along - along, long) * _bump(on.lateral - lateral, wide))


def _aphid(on: Across, seam: FloatArray, rng: np.random.Generator) -> Plane:
    patch = 0.22 * _spot(on, rng.uniform(0.5, 0.7), 0, 0.14, 0.5) * pick(rng, (0.0, 1.0, -0.7))
    value = (1 - 0.16 * seam * (on.along > 0.3)) * (1 - patch)
    return np.asarray(value * (1 - rng.uniform(0, 0.3) * (on.along < 0.22)))


def _thrips(on: Across, seam: FloatArray, rng: np.random.Generator) -> Plane:
    t, lateral = on.along, on.lateral
    value = 1 - rng.uniform(0.2, 0.5) * seam * (t > 0.4)
    value = value * (1 - 0.45 * rise(0.86, 0.97, t)) * np.where(t < 0.18, rng.uniform(0.7, 1.05), 1)
    if rng.random() < 0.4:  # a pale band at the root of the wings
        value = value * (1 + 0.5 * _bump(t - 0.42, 0.04))
    folded = (np.abs(lateral) < 0.42) & (t > 0.3) & (t < rng.uniform(0.8, 0.9))
    value = value * np.where(folded, rng.uniform(0.62, 1.35), 1)
    return value * (1 - 0.35 * _bump(lateral, 0.13) * ((t > 0.32) & (t < 0.85)))


def _caterpillar(on: Across, seam: FloatArray, rng: np.random.Generator) -> Plane:
    value = 1 - 0.2 * seam
    if rng.random() < 0.6:  # stripes
        value = value * (1 + 0.16 * _bump(np.abs(on.lateral) - 0.5, 0.1) - 0.16 * _bump(on.lateral, 0.16))
    if rng.random() < 0.5:  # warts in rows
        phase = on.along * _SEGMENTS["caterpillar"]
        between = _bump(phase - np.floor(phase) - 0.5, 0.1) * (on.along > 0.06)
        for row in (-0.62, -0.25, 0.25, 0.62):
            value = value * (1 - 0.45 * between * _bump(on.lateral - row, 0.09))
    return value


def _larva(on: Across, seam: FloatArray, rng: np.random.Generator) -> Plane:
    return 1 - 0.12 * seam


def _mite(on: Across, seam: FloatArray, rng: np.random.Generator) -> Plane:
    value = 1 - 0.2 * _bump(on.along - 0.33, 0.03)
    if rng.random() < 0.5:  # dark spots on the flanks
        for side in (0.5, -0.5):
            value = value * (1 - 0.7 * _spot(on, 0.5, side, 0.16, 0.27))
    return value


def _gnat(on: Across, seam: FloatArray, rng: np.random.Generator) -> Plane:
    return 1 + 0.35 * seam * (on.along > 0.45)


_MARKS: dict[str, Callable[[Across, FloatArray, np.random.Generator], Plane]] = {
    "aphid": _aphid, "skin": _aphid, "thrips": _thrips, "caterpillar": _caterpillar, "larva": _larva, "mite": _mite,
    "gnat": _gnat,
}  # fmt: skip


def marks(animal: Animal, on: Across, seam: FloatArray, rng: np.random.Generator) -> FloatArray:
    """(h, w) light of the markings, about 1."""
    made = _MARKS.get(animal.kind)
    return np.ones_like(on.along) if made is None else np.asarray(made(on, seam, rng), np.float32)


def _laid(base: FloatArray, colour: FloatArray, share: FloatArray) -> FloatArray:
    return np.asarray(base + (colour - base) * share[..., None], np.float32)


def base_of(animal: Animal, on: Across, rng: np.random.Generator) -> FloatArray:
    """(h, w, 3) the body's own linear colour: a dark head, a gut that shows through, without light or markings."""
    base = np.broadcast_to(linear(animal.colour), (*on.along.shape, 3))
    if animal.kind == "caterpillar":
        head = linear(pick(rng, _HEADS, [0.3, 0.3, 0.3, 0.1]))
        base = _laid(base, head, rise(0.07, 0.06, on.along))
        if rng.random() < 0.4:  # a collar behind it
            base = _laid(base, head, 0.7 * _bump(on.along - 0.075, 0.012))
    elif animal.kind == "larva":
        gut = _bump(on.lateral, 0.4) * rise(0.3, 0.4, on.along) * rise(0.8, 0.7, on.along)
        base = base * (1 - 0.35 * rng.random() * gut[..., None] * np.array([0.2, 0.5, 1.0], np.float32))
    return np.asarray(base, np.float32)


def with_eyes(animal: Animal, base: FloatArray, on: Across, rng: np.random.Generator) -> FloatArray:
    """The same with eyes on the kinds that show them."""
    if animal.kind == "larva" and rng.random() < 0.6:
        for side in (0.55, -0.55):
            base = _laid(base, linear((60, 20, 20)), 0.9 * _spot(on, 0.08, side, 0.035, 0.3))
    elif animal.kind in ("aphid", "gnat", "skin"):
        eyes = _bump(on.along - 0.07, 0.03) * _bump(np.abs(on.lateral) - 0.85, 0.3)
        base = _laid(base, linear((40, 18, 18)), 0.8 * eyes)
    return base
