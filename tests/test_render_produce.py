"""Produce that lies over or under the light, trails in it, and the second family of bodies: drawn again the same, true to the truth."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from vision.render import Recipe, draw, tidy, vary

SMALL = {"width_px": 320, "height_px": 240}


def test_the_other_family_of_bodies_lies_in_the_same_places() -> None:
    pytest.importorskip("vision.render.second")
    recipe = dataclasses.replace(
        tidy("water", 14, **SMALL), insects=(("aphid", 3), ("thrips", 3), ("larva", 2)), clutter=0.5
    )
    first, second = draw(recipe), draw(dataclasses.replace(recipe, bodies="second"))
    assert first.jpeg != second.jpeg
    bodies = [[b for b in d.truth if b.insect] for d in (first, second)]
    assert [b.kind for b in bodies[0]] == [b.kind for b in bodies[1]]
    for one, other in zip(*bodies, strict=True):
        if min(one.visible, other.visible) > 0.99:
            assert np.hypot(one.x_px - other.x_px, one.y_px - other.y_px) < 0.3 * first.px_per_mm
    bycatch = [[(b.kind, b.x_px, b.y_px, b.form) for b in d.truth if not b.insect] for d in (first, second)]
    assert bycatch[0] == bycatch[1]


@pytest.mark.parametrize("kind", ["scallion", "layers", "asparagus", "gills", "cauliflower"])
def test_every_kind_of_produce_is_drawn_again_the_same(kind: str) -> None:
    pytest.importorskip("vision.render.cauliflower" if kind == "cauliflower" else "vision.render.layers")
    recipe = dataclasses.replace(tidy(kind, 3, **SMALL), insects=(("thrips", 3), ("larva", 2)))
    one, again = draw(recipe), draw(recipe)
    assert one.jpeg == again.jpeg
    assert one.lit_from == ("above" if kind == "cauliflower" else "below")
    assert sum(body.insect for body in one.truth) == 5
    for body in one.truth:
        assert -0.5 <= body.x_px <= 319.5
        assert -0.5 <= body.y_px <= 239.5
        assert body.surface in {"produce", "panel"}
    assert draw(vary(kind, 4, **SMALL)).jpeg == draw(vary(kind, 4, **SMALL)).jpeg


def test_trails_of_miners_are_counted_as_insects() -> None:
    pytest.importorskip("vision.render.layers")
    recipe = tidy("scallion", 5, width_px=900, height_px=600)
    none, some = (draw(dataclasses.replace(recipe, insects=i, clutter=0.0)) for i in ((), (("trail", 3),)))
    assert not any(body.insect for body in none.truth)
    trails = [body for body in some.truth if body.kind == "trail"]
    assert trails
    assert all(body.insect and body.surface == "produce" and body.visible > 0.5 for body in trails)
    with pytest.raises(ValueError, match="cannot draw trail"):
        Recipe("water", 1, insects=(("trail", 1),))
