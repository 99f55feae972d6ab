"""Whether a plain body is in the list at all at a minimum score of 0, and where one that is not was lost.

Listed means a flag within half the body's length (at least 0.5 mm). With a thousand flags on produce, chance alone puts some there, so
the same is told of the same bodies turned half round the picture's middle, where nothing lies; and of flags that have the size as well,
half to twice the body's length.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from vision.counting import NEVER, count_shot, counts, hit_radius_mm
from vision.foreground import find_surfaces
from vision.looks import Looks, views_of
from vision.pipeline import inspect, see_light
from vision.rank import Ranker, shipped_ranker
from vision.render import Drawn, Recipe, TrueBody, draw
from vision.specks import EVERY_LOOK, find_specks, glanced, search_places
from vision.types import Candidate, Cut, Setup, Shot

LISTED, NO_PLACE, NO_LOOK, LOST = "listed", "not a place", "a place, not looked at", "looked at, lost"
_LEAST_DELTA_E = 10.0
Wanted = Callable[[TrueBody, float], bool]


@dataclass(frozen=True)
class Listed:
    """One body: where it got to, whether a flag of its size lies there, and whether one lies where it is not."""

    kind: str
    length_mm: float
    stage: str
    of_its_size: bool
    by_chance: bool


def plain(body: TrueBody, px_per_mm: float) -> bool:
    """Insects that the list must hold: 1 mm and more, 3 px wide and more, half in view, CIEDE2000 of 10 and more."""
    return body.length_mm >= 1 and body.width_mm * px_per_mm >= 3 and counts(body) and body.delta_e >= _LEAST_DELTA_E


def small_larva(body: TrueBody, px_per_mm: float) -> bool:
    """Larvae of 0.4 to 0.9 mm, half in view, CIEDE2000 of 10 and more."""
    return body.kind == "larva" and 0.4 <= body.length_mm <= 0.9 and counts(body) and body.delta_e >= _LEAST_DELTA_E


def list_plain(recipe: Recipe) -> list[Listed]:
    """The plain insects of one shot."""
    return _list(recipe, plain)


def list_larvae(recipe: Recipe) -> list[Listed]:
    """The small larvae of one shot."""
    return _list(recipe, small_larva)


def _list(recipe: Recipe, wanted: Wanted) -> list[Listed]:
    drawn, ranker = draw(recipe), shipped_ranker()
    shot, setup = Shot(drawn.pixels, "0" * 64, "drawn"), Setup(px_per_mm=drawn.px_per_mm)
    flags = inspect(shot, setup, None, ranker, Cut(min_score=0.0)).candidates
    counted = count_shot(flags, drawn.truth, drawn.px_per_mm)
    bodies = [
        (b, hit > NEVER) for b, hit in zip(counted.bodies, counted.hits, strict=True) if wanted(b, drawn.px_per_mm)
    ]
    missed = [b for b, hit in bodies if not hit]
    stages = iter(stages_of(missed, drawn, shot, ranker) if missed else [])
    out = []
    for body, hit in bodies:
        turned = replace(body, x_px=shot.width_px - 1 - body.x_px, y_px=shot.height_px - 1 - body.y_px)
        of_its_size = near(body, flags, drawn.px_per_mm, sized=True)
        stage = LISTED if hit else next(stages)
        out.append(Listed(body.kind, body.length_mm, stage, of_its_size, near(turned, flags, drawn.px_per_mm)))
    return out


def near(body: TrueBody, flags: tuple[Candidate, ...], px_per_mm: float, sized: bool = False) -> bool:
    """Whether a flag lies on a body; one of its size, if asked."""
    reach, length = hit_radius_mm(body) * px_per_mm, body.length_mm * px_per_mm
    return any(
        np.hypot(c.measures.x_px - body.x_px, c.measures.y_px - body.y_px) <= reach
        and (not sized or 0.5 <= c.measures.length_px / length <= 2)
        for c in flags
    )


def stages_of(missed: list[TrueBody], drawn: Drawn, shot: Shot, ranker: Ranker) -> list[str]:
    """How far bodies that are not listed got in the search."""
    light = see_light(shot, Setup(px_per_mm=drawn.px_per_mm))
    scale = drawn.px_per_mm / light.step
    surfaces = find_surfaces(light.density, None, scale)
    search = search_places(light, surfaces, scale, shot.pixels, everything=True)
    if search is None:
        return [NO_PLACE] * len(missed)
    looks = Looks(ranker.net, views_of(shot, light, drawn.px_per_mm))
    _, likely = glanced(search, ranker.glance, looks, light.step)
    least = -np.inf
    if len(likely) > EVERY_LOOK:
        specks = find_specks(light, surfaces, scale, ranker.glance, shot.pixels, True, looks)
        least = min((s.likely for s in specks), default=-np.inf)
    x, y = (v * light.step + (light.step - 1) / 2 for v in (search.places.column, search.places.row))
    stages = []
    for body in missed:
        here = np.hypot(x - body.x_px, y - body.y_px) <= hit_radius_mm(body) * drawn.px_per_mm
        looked = here.any() and likely[here].max() >= least
        stages.append(LOST if looked else NO_LOOK if here.any() else NO_PLACE)
    return stages
