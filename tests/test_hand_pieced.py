"""Shots whose grounds are pieced together from textures: the same from the same seed, and the insects where the truth says."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from vision.render.hands.pieced import draw
from vision.render.hands.pieced.animals import some_animal
from vision.render.hands.pieced.embodied import embodied
from vision.render.hands.pieced.scene import Lamp, Scene
from vision.render.hands.pieced.wetness import drops
from vision.render.hands.seen import HandDrawn

pytestmark = pytest.mark.slow

KINDS = ("water", "cloth", "broccoli", "cauliflower", "scallion")
NAMES = {"aphid", "thrips", "caterpillar", "larva", "mite", "gnat", "egg", "skin"}
SURFACES = {"water": {"water"}, "cloth": {"cloth"}}


@cache
def small(kind: str, seed: int, insects: int) -> HandDrawn:
    return draw(kind, seed, insects, 400, 300)


@pytest.mark.parametrize("kind", KINDS)
class TestEachKind:
    def test_is_the_same_from_the_same_seed(self, kind: str) -> None:
        first, again, other = small(kind, 3, 1), draw(kind, 3, 1, 400, 300), small(kind, 2, 12)
        assert first.pixels.tobytes() == again.pixels.tobytes()
        assert first.truth == again.truth
        assert first.pixels.tobytes() != other.pixels.tobytes()

    def test_draws_without_insects(self, kind: str) -> None:
        shot = small(kind, 3, 0)
        assert shot.pixels.shape == (300, 400, 3)
        assert shot.pixels.dtype == np.uint8
        assert shot.truth == ()
        assert shot.pixels.std() > 2

    def test_has_a_row_for_each_insect_inside_the_picture(self, kind: str) -> None:
        shot = small(kind, 2, 12)
        assert len(shot.truth) == 12
        for row in shot.truth:
            assert 0 <= row.x_px <= 399
            assert 0 <= row.y_px <= 299
            assert 0 <= row.visible <= 1
            assert np.isfinite(row.delta_e)
            assert 0 <= row.angle_deg < 180
            assert row.kind in NAMES
            assert row.surface in SURFACES.get(kind, {"produce", "panel"})
            assert row.x_mm == pytest.approx(row.x_px / shot.px_per_mm)


def test_takes_sides_that_are_no_multiples_of_anything() -> None:
    for kind in ("cloth", "scallion", "cauliflower"):
        assert draw(kind, 5, 2, 431, 303).pixels.shape == (303, 431, 3)


def test_an_unknown_kind_is_refused_with_a_sentence() -> None:
    with pytest.raises(ValueError, match=r"no kind of shot called 'gravel'"):
        draw("gravel", 1, 1)


def test_dark_insects_in_water_are_where_the_truth_says() -> None:
    looked_at = 0
    for seed in range(7):
        shot, bare = small("water", seed, 1), small("water", seed, 0)
        row = shot.truth[0]
        if row.delta_e < 12 or row.visible < 0.95:
            continue
        looked_at += 1
        darker = bare.pixels.astype(float).mean(axis=2) - shot.pixels.astype(float).mean(axis=2)
        body = np.where(darker > 0.5 * np.percentile(darker, 99.95), darker, 0)
        x = float((body.sum(axis=0) @ np.arange(400)) / body.sum())
        y = float((body.sum(axis=1) @ np.arange(300)) / body.sum())
        assert np.hypot(x - row.x_px, y - row.y_px) < 2 + 0.1 * row.length_mm * shot.px_per_mm
    assert looked_at > 2


@pytest.mark.parametrize("kind", KINDS)
def test_insects_do_not_change_the_scene(kind: str) -> None:
    shot, bare = small(kind, 3, 1), small(kind, 3, 0)
    row = shot.truth[0]
    y, x = np.mgrid[0:300, 0:400]
    away = np.hypot(x - row.x_px, y - row.y_px) > (1.5 * row.length_mm + 2) * shot.px_per_mm
    assert away.any()
    assert np.abs(shot.pixels.astype(float) - bare.pixels.astype(float))[away].mean() < 0.5


def test_bodies_hide_what_lies_below_by_what_passes_through() -> None:
    """A dark body laid over another hides it, and a drop moves what is seen of it without making more of it than its lens does."""
    rng = np.random.default_rng(3)
    lamp = Lamp(False, 1.0, 0.0, 0.9)
    scene = Scene("water", lamp, np.full((300, 400, 3), 0.7, np.float32), [])
    animal = next(a for a in iter(lambda: some_animal("water", rng), None) if a.kind == "thrips" and a.opacity > 0.9)
    sprite = embodied(animal, lamp, 20.0, rng)
    scene.lay(sprite, 200, 150)
    on_body, beside = scene.light[147:154, 197:204].mean(), scene.light[20:40, 20:40].mean()
    assert on_body < 0.5 * beside
    drops(scene, rng, 5, 20, 0.3, 0.3)
    assert np.isfinite(scene.light).all()
