"""A tray's wall, a piece's rim and the picture's edge neither flood the list nor hide what lies at them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from drawn_shots import box, disc, panel_shot

from vision.pipeline import inspect
from vision.rank import shipped_ranker
from vision.render import draw, tidy
from vision.types import Cut, Inspection, Setup, Shot

_PX_PER_MM = 20.0


def _look(shot: Shot, least: float = Cut().min_score) -> Inspection:
    return inspect(shot, Setup(px_per_mm=_PX_PER_MM), None, shipped_ranker(), Cut(least))


@pytest.mark.parametrize("vessel", ["straight", "round"])
@pytest.mark.parametrize("seed", [8101, 8102])
def test_the_wall_of_a_tray_draws_few_flags(vessel: str, seed: int) -> None:
    recipe = tidy("water", seed, width_px=1200, height_px=900)
    empty = draw(replace(recipe, insects=(), clutter=0.0, vessel_edge=vessel))
    seen = _look(Shot(empty.pixels, "0" * 64, "wall"))
    # A checker's budget is about twelve flags a sample of ten shots (common practice, no source); a wall may take a third of it.
    assert len(seen.candidates) <= 4


def test_a_body_beside_a_wall_is_listed() -> None:
    wall = box(300, 120, 30, 400, 0)
    at_wall = disc(276, 100, 14)
    seen = _look(panel_shot([(wall, (0.12, 0.12, 0.12)), (at_wall, (0.3, 0.25, 0.2))]), 0.0)
    assert any(np.hypot(c.measures.x_px - 276, c.measures.y_px - 100) < 6 for c in seen.candidates)


@pytest.mark.parametrize(("x", "y"), [(4.0, 120.0), (316.0, 90.0), (160.0, 3.0), (200.0, 237.0)])
def test_a_body_cut_by_the_pictures_edge_is_listed(x: float, y: float) -> None:
    seen = _look(panel_shot([(disc(x, y, 16), (0.25, 0.2, 0.2))]), 0.0)
    assert any(np.hypot(c.measures.x_px - x, c.measures.y_px - y) < 8 for c in seen.candidates)


def test_what_is_burnt_out_is_counted_as_not_searched() -> None:
    bright = draw(replace(tidy("water", 8103, width_px=800, height_px=600), insects=(), burnt_out=1.5, exposure=0.9))
    seen = _look(Shot(bright.pixels, "0" * 64, "burnt"))
    assert seen.quality.unsearched > 0.01
    assert seen.unsearched.mean() == pytest.approx(seen.quality.unsearched)
