"""How often each condition of a shot speaks, on good drawn shots and on shots drawn with one fault: `python tests/bench/conditions.py`.

Good shots are from a well-set stand, 14 to 30 px/mm, water, florets and blank; on 200 of them each condition may speak at most once.
To add a condition: add a function to CONDITIONS, and a fault that it must see to FAULTS.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter, defaultdict
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from multiprocessing import get_context

import cv2
import numpy as np

from vision.conditions.bubbles import find_bubbles
from vision.conditions.coarse import Coarse, coarse_view
from vision.conditions.depth import Depth, find_depth
from vision.conditions.drops import find_drops
from vision.conditions.exposure import find_exposure, panel_over_produce
from vision.conditions.glare import find_glare
from vision.conditions.haze import find_haze
from vision.conditions.rings import Rings, find_rings
from vision.conditions.shade import find_shade
from vision.conditions.touching import find_touching
from vision.conditions.wall import find_wall
from vision.foreground import find_surfaces
from vision.looks import Looks, views_of
from vision.measure import Measured, measure_specks
from vision.pipeline import see_light
from vision.rank import shipped_ranker
from vision.render import Recipe, draw, filled, tidy
from vision.specks import find_specks
from vision.types import Ground, Light, LitFrom, ScaleFrom, Setup, Shot, Surfaces

_GOOD, _FAULTY = 910_000_000, 920_000_000
_KINDS = ("water", "broccoli", "blank", "water", "broccoli")


@dataclass(frozen=True)
class Looked:
    """What a condition may look at."""

    shot: Shot
    light: Light
    surfaces: Surfaces
    view: Coarse
    lit_from: LitFrom
    ground: Ground
    measured: tuple[Measured, ...]
    px_per_mm: float

    def rings(self) -> Rings:
        return find_rings(self.light.density, self.px_per_mm)

    def wall(self) -> float:
        bubbles = find_bubbles(self.rings(), self.surfaces, self.ground, self.lit_from).mask
        return find_wall(self.light, self.surfaces, self.ground, self.lit_from, self.px_per_mm, bubbles).severity

    def depth(self) -> Depth:
        size = self.shot.height_px, self.shot.width_px
        rings, step = self.rings(), self.light.step
        return find_depth(self.measured, None, rings, self.ground, self.lit_from, size, self.px_per_mm, step)


CONDITIONS: dict[str, Callable[[Looked], bool]] = {
    "too bright": lambda x: find_exposure(x.view, find_glare(x.view).mask).too_bright_stops > 0,
    "too dark": lambda x: find_exposure(x.view).too_dark_stops > 0,
    "panel outshines": lambda x: panel_over_produce(x.view, x.lit_from) > 4,
    "glare": lambda x: find_glare(x.view).share > 0.01,
    "smeared lens": lambda x: find_haze(x.view).smeared > 0,
    "steam": lambda x: find_haze(x.view).steam > 0,
    "shade": lambda x: find_shade(x.view, x.light, x.surfaces, x.lit_from).share > 0.002,
    "touching": lambda x: bool(find_touching(x.surfaces, x.light.step, x.ground).contacts),
    "drops": lambda x: find_drops(x.rings(), x.surfaces, x.ground, x.lit_from, x.px_per_mm).severity > 0,
    "bubbles": lambda x: find_bubbles(x.rings(), x.surfaces, x.ground, x.lit_from).severity > 0,
    "wall": lambda x: x.wall() > 0,
    "too deep": lambda x: bool(x.depth().deep),
    "soft side": lambda x: bool(x.depth().soft_side),
}

Fault = Callable[[Recipe, np.random.Generator], Recipe]


def _exposed(recipe: Recipe, times: float) -> Recipe:
    return replace(recipe, exposure=times * (filled(recipe).exposure or 1.0))


def _panel_on(recipe: Recipe, bright: float) -> Recipe:
    # The camera exposes for the panel.
    return replace(recipe, panel_on=bright, exposure=0.9 / (0.8 + bright))


def _deep(recipe: Recipe, focus_mm: float) -> Recipe:
    blur = 0.3 * recipe.px_per_mm / 20
    return replace(recipe, water_depth_mm=25.0, depth_blur_px_per_mm=blur, focus_height_mm=focus_mm)


FAULTS: dict[str, tuple[str, str, Fault]] = {
    "too bright, water": ("too bright", "water", lambda r, g: _exposed(r, g.uniform(1.5, 2.5))),
    "too bright, florets": ("too bright", "broccoli", lambda r, g: _exposed(r, g.uniform(1.5, 2.5))),
    "too dark, water": ("too dark", "water", lambda r, g: _exposed(r, g.uniform(0.06, 0.25))),
    "panel outshines": ("panel outshines", "broccoli", lambda r, g: _panel_on(r, g.uniform(1.5, 6))),
    "glare on water": ("glare", "water", lambda r, g: replace(r, glare=g.uniform(0.8, 2))),
    "glare on film": ("glare", "broccoli", lambda r, g: replace(r, film_glare=g.uniform(1, 3))),
    "smeared lens": (
        "smeared lens",
        "broccoli",
        lambda r, g: replace(r, smear=g.uniform(0.1, 0.35), smear_reach=g.uniform(0.02, 0.035)),
    ),
    "steam": (
        "steam",
        "broccoli",
        lambda r, g: replace(r, steam=g.uniform(0.2, 0.6), steam_lump_mm=g.uniform(10, 40)),
    ),
    "deep shade": ("shade", "broccoli", lambda r, g: replace(r, deep_shade=g.uniform(2.5, 5))),
    "touching": ("touching", "broccoli", lambda r, g: replace(r, px_per_mm=g.uniform(12, 17), touching=1)),
    "drops": ("drops", "blank", lambda r, g: replace(r, wet_panel=g.uniform(0.02, 0.15))),
    "bubbles": ("bubbles", "water", lambda r, g: replace(r, foam=g.uniform(0.13, 0.35))),
    "mist": ("wall", "water", lambda r, g: replace(r, condensation=g.uniform(0.12, 0.35))),
    "deep, bottom soft": ("too deep", "water", lambda r, g: _deep(r, 25.0)),
    "deep, surface soft": ("too deep", "water", lambda r, g: _deep(r, 0.0)),
    "tilted, water": ("soft side", "water", lambda r, g: replace(r, tilt_blur_px=g.uniform(3, 6))),
    "tilted, florets": ("soft side", "broccoli", lambda r, g: replace(r, tilt_blur_px=g.uniform(3, 6))),
}


def _recipe(kind: str, seed: int) -> Recipe:
    scale = float(np.random.default_rng(seed).uniform(14, 30))
    return replace(tidy(kind, seed, width_px=1600, height_px=1200, px_per_mm=scale), apart_mm=8.0)


def look(recipe: Recipe) -> Looked:
    """A drawn shot up to where its conditions are asked for."""
    drawn = draw(recipe)
    shot = Shot(drawn.pixels, "0" * 64, "drawn")
    light = see_light(shot, Setup(drawn.px_per_mm, ScaleFrom.OPTION))
    scale = drawn.px_per_mm / light.step
    ground = Ground.WATER if recipe.kind == "water" else Ground.PANEL
    surfaces = find_surfaces(light.density, ground, scale)
    ranker = shipped_ranker()
    looks = Looks(ranker.net, views_of(shot, light, drawn.px_per_mm))
    measured = measure_specks(find_specks(light, surfaces, scale, ranker.glance, looks=looks), light.step)
    view, lit_from = coarse_view(light, surfaces, scale), LitFrom(drawn.lit_from)
    return Looked(shot, light, surfaces, view, lit_from, ground, measured, scale)


def judge(job: tuple[str, Recipe]) -> tuple[str, list[str], dict[str, float]]:
    """Which conditions speak on one shot, and the milliseconds each took."""
    name, recipe = job
    looked = look(recipe)
    said, spent = [], {}
    for condition, speaks in CONDITIONS.items():
        begun = time.thread_time()
        if speaks(looked):
            said.append(condition)
        spent[condition] = 1e3 * (time.thread_time() - begun)
    return name, said, spent


def _one_thread() -> None:
    cv2.setNumThreads(1)


def main() -> None:
    """Draws, asks, prints what spoke."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--good", type=int, default=200, help="good shots")
    parser.add_argument("--faulty", type=int, default=10, help="shots a fault")
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    jobs = [("good", _recipe(_KINDS[k % len(_KINDS)], _GOOD + k)) for k in range(asked.good)]
    for number, (name, (_, kind, spoil)) in enumerate(FAULTS.items()):
        for k in range(asked.faulty):
            seed = _FAULTY + 1000 * number + k
            jobs.append((name, spoil(_recipe(kind, seed), np.random.default_rng(seed))))
    spoke: dict[str, Counter[str]] = defaultdict(Counter)
    spent: dict[str, list[float]] = defaultdict(list)
    with ProcessPoolExecutor(asked.workers, mp_context=get_context("spawn"), initializer=_one_thread) as pool:
        for name, said, milliseconds in pool.map(judge, jobs):
            spoke[name].update(said)
            for condition, ms in milliseconds.items():
                spent[condition].append(ms)
    print(f"good shots: {asked.good}; spoke on them: {dict(spoke['good']) or 'none'}")
    for name, (condition, _, _) in FAULTS.items():
        others = {k: n for k, n in spoke[name].items() if k != condition}
        print(f"{name:22s} {condition:16s} {spoke[name][condition]:3d} of {asked.faulty}   others: {others or 'none'}")
    for condition, values in spent.items():
        print(f"{condition:22s} median {np.median(values):5.1f} ms, longest {max(values):5.1f} ms")


if __name__ == "__main__":
    main()
