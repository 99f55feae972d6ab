"""The shots that figures are given for: what is drawn, by which seeds.

A standard shot is 2000 x 1500 px at 20 px/mm with full clutter; every other one holds six insects, the rest none. The insects come from
the second family of bodies, none of which the ranker has learned on, and all seeds lie far above those it learned on. To add a kind of
scene: add an entry to SCENES.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace

from vision.render import Recipe, tidy, vary

HELD_OUT, TUNING = 900_000_000, 950_000_000
_SCALED, _LARVAE = HELD_OUT + 500_000, HELD_OUT + 700_000
_LARVAE_A_SHOT = 30
_MANY = ("aphid", "thrips", "caterpillar", "larva", "mite")
_ONE_MORE = ("aphid", "skin", "thrips", "egg", "larva", "gnat")


@dataclass(frozen=True)
class Scene:
    """One kind of scene: its name for people, five insects that every other shot holds, and a sixth that takes turns."""

    name: str
    five: tuple[str, ...]
    sixth: tuple[str, ...]

    def six(self, turn: int) -> tuple[tuple[str, int], ...]:
        """The insects of one shot, as a recipe asks for them."""
        return tuple(Counter((*self.five, self.sixth[turn % len(self.sixth)])).items())

    @property
    def insects(self) -> tuple[str, ...]:
        """All kinds that may come up."""
        return tuple(dict.fromkeys((*self.five, *self.sixth)))


SCENES = {
    "water": Scene("rinse water", _MANY, _ONE_MORE),
    "cloth": Scene("wet cloth", _MANY, _ONE_MORE),
    "broccoli": Scene("broccoli", _MANY, _ONE_MORE),
    "cauliflower": Scene("cauliflower", _MANY, _ONE_MORE),
    "scallion": Scene("scallion leaves", ("larva", "larva", "thrips", "thrips", "mite"), ("trail",)),
    "tray": Scene("dark tray", _MANY, _ONE_MORE),
    "layers": Scene("onion layers", ("thrips", "thrips", "larva", "larva", "aphid"), ("trail", "mite", "egg", "skin")),
    "asparagus": Scene("asparagus", ("aphid", "aphid", "thrips", "thrips", "egg"), ("larva", "egg", "skin")),
    "gills": Scene("mushroom gills", ("larva", "larva", "mite", "mite", "gnat"), ("egg", "larva", "skin")),
}
USUAL = ("water", "cloth", "broccoli", "cauliflower", "scallion", "tray")
"""What is judged where nothing else is asked for."""


def standard(kind: str, k: int, bodies: str, seeds: int = HELD_OUT) -> Recipe:
    """Standard shot number `k` of a kind of scene; odd ones hold six insects. `bodies` as in a recipe."""
    insects = SCENES[kind].six(k // 2) if k % 2 else ()
    return replace(tidy(kind, seeds + k), insects=insects, bodies=bodies)


def wild(kind: str, k: int, bodies: str) -> Recipe:
    """The same with everything varied far beyond what looks right: scale, light and focus too."""
    insects = SCENES[kind].six(k // 2) if k % 2 else ()
    return replace(vary(kind, HELD_OUT + k), insects=insects, bodies=bodies)


def scaled(kind: str, k: int, px_per_mm: float, bodies: str) -> Recipe:
    """A standard shot at another scale, 1600 x 1200 px; all hold six insects."""
    recipe = tidy(kind, _SCALED + k, width_px=1600, height_px=1200, px_per_mm=px_per_mm)
    return replace(recipe, insects=SCENES[kind].six(k), bodies=bodies)


def larvae(kind: str, k: int, bodies: str) -> Recipe:
    """A standard shot at 25 px/mm with many larvae."""
    return replace(tidy(kind, _LARVAE + k, px_per_mm=25.0), insects=(("larva", _LARVAE_A_SHOT),), bodies=bodies)
