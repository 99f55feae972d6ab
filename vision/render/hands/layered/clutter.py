"""Scattering what is no insect over a picture."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from vision.render.hands.layered import crumbs, drops, threads
from vision.render.hands.layered.colour import Rng, one_of
from vision.render.hands.layered.laying import lay, shade, share_of_standard
from vision.render.hands.layered.sheet import Light, Sheet
from vision.types import FloatArray

Drawer = Callable[[Rng, Light], Sheet]
DRAWN_BY: Mapping[str, Drawer] = {
    "grit": crumbs.grit, "soil": crumbs.soil, "plant": crumbs.plant, "bud": crumbs.bud, "film": crumbs.film,
    "seed": crumbs.seed, "fibre": threads.fibre, "hair": threads.hair, "root": threads.root, "stalk": threads.stalk,
    "bubble": drops.bubble, "drop": drops.drop,
}  # fmt: skip
_CLEAR = ("bubble", "drop")
"""These throw no shadow."""
_SHADOW_FAR_PX, _SHADOW_BLUR_PX = 4.0, 3.0


def how_many(rng: Rng, scene: FloatArray, low: int, high: int) -> int:
    """A count between two that are meant for a standard picture, for this one."""
    return round(int(rng.integers(low, high)) * share_of_standard(scene))


def unsteady(rng: Rng, weights: Mapping[str, float], spread: float) -> dict[str, float]:
    """The weights, each off by a factor: no two pictures hold the same mix."""
    return {name: weight * rng.lognormal(0, spread) for name, weight in weights.items()}


def scatter(
    rng: Rng,
    scene: FloatArray,
    light: Light,
    count: int,
    weights: Mapping[str, float],
    shadow: float = 0.0,
    where: FloatArray | None = None,
) -> None:
    """Lays `count` things anywhere, or where `where` (h, w) is above a half."""
    names, shares = list(weights), list(weights.values())
    for _ in range(count):
        name = one_of(rng, names, shares)
        at = _spot(rng, scene.shape, where)
        if at is None:
            continue
        layers = DRAWN_BY[name](rng, light).reduced()
        if shadow and name not in _CLEAR:
            shade(scene, layers, *at, light, shadow, _SHADOW_FAR_PX, _SHADOW_BLUR_PX)
        lay(scene, layers, *at, opacity=rng.uniform(0.75, 1))


def _spot(rng: Rng, shape: tuple[int, ...], where: FloatArray | None) -> tuple[int, int] | None:
    """A pixel x, y; None where a dozen tries found no allowed one."""
    for _ in range(12):
        x, y = int(rng.integers(shape[1])), int(rng.integers(shape[0]))
        if where is None or where[y, x] > 0.5:
            return x, y
    return None
