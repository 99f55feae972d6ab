"""The two photographs round a swirl read together: by values, and on drawn water in which a body moves and a stain does not."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from drawn_shots import cover, disc, ellipse
from hypothesis import given
from hypothesis import strategies as st
from made_marks import RUN, mark, sha256

from cli.lots.marks import Mark
from cli.lots.same import offers
from cli.lots.swirl_pair import AFTER, BEFORE, Swirled, swirled
from cli.review.answers import SpeckId
from vision.light import encode_srgb
from vision.pipeline import inspect
from vision.rank import shipped_ranker
from vision.render import draw, tidy
from vision.types import Cut, Ground, LitFrom, ScaleFrom, Setup, Shot


def before(number: int, x: float, y: float, **more: Any) -> Mark:
    return mark("water.jpg", number, **{"view": BEFORE, "x_mm": x, "y_mm": y} | more)


def after(number: int, x: float, y: float, **more: Any) -> Mark:
    return mark("swirl.jpg", number, **{"view": AFTER, "x_mm": x, "y_mm": y} | more)


def numbers(read: Swirled) -> dict[str, list[Any]]:
    """Numbers of the marks in each part."""
    pairs = {
        name: [(one.speck.candidate, other.speck.candidate) for one, other in getattr(read, name)]
        for name in ("stayed", "moved")
    }
    return pairs | {
        name: [each.speck.candidate for each in getattr(read, name)] for name in ("before_only", "after_only")
    }


class TestByValues:
    def test_what_stays_what_moves_and_what_is_gone(self) -> None:
        first = [before(1, 10, 10), before(2, 50, 20, length_mm=2.4), before(3, 80, 70, length_mm=0.4, width_mm=0.4)]
        second = [after(1, 10.6, 10.7), after(2, 31, 44, length_mm=2.3), after(3, 5, 60, length_mm=0.9, width_mm=0.9)]
        assert numbers(swirled(first, second)) == {
            "stayed": [(1, 1)],
            "moved": [(2, 2)],
            "before_only": [3],
            "after_only": [3],
        }

    @pytest.mark.parametrize(("apart", "part"), [(0.99, "stayed"), (1.01, "moved")])
    def test_a_place_is_a_millimetre_wide(self, apart: float, part: str) -> None:
        assert numbers(swirled([before(1, 10, 10)], [after(1, 10 + apart, 10)]))[part] == [(1, 1)]

    @pytest.mark.parametrize(("apart", "part"), [(19.9, "stayed"), (20.1, "moved")])
    def test_without_a_scale_it_is_twenty_pixels_wide(self, apart: float, part: str) -> None:
        nowhere = {"x_mm": None, "y_mm": None, "length_mm": None, "width_mm": None}
        first, second = before(1, 0, 0, **nowhere, x_px=500.0), after(1, 0, 0, **nowhere, x_px=500.0 + apart)
        assert numbers(swirled([first], [second]))[part] == [(1, 1)]

    def test_another_body_that_drifted_to_the_place_is_none_that_stayed(self) -> None:
        read = swirled([before(1, 10, 10, length_mm=3.0)], [after(1, 10.2, 10, length_mm=0.5)])
        assert numbers(read) == {"stayed": [], "moved": [], "before_only": [1], "after_only": [1]}

    def test_a_camera_that_moved_is_allowed_for(self) -> None:
        # Four marks of the tray, all 6 mm to the right and 2 mm down in the second photograph; one body that swam.
        places = [(10, 10), (70, 12), (15, 60), (66, 55)]
        first = [*(before(k, x, y) for k, (x, y) in enumerate(places, 1)), before(9, 30, 30, length_mm=2.0)]
        second = [*(after(k, x + 6, y + 2) for k, (x, y) in enumerate(places, 1)), after(9, 52, 31, length_mm=2.0)]
        assert numbers(swirled(first, second)) == {
            "stayed": [(k, k) for k in range(1, 5)],
            "moved": [(9, 9)],
            "before_only": [],
            "after_only": [],
        }

    def test_without_marks(self) -> None:
        assert swirled([], []) == Swirled((), (), (), ())
        assert numbers(swirled([before(1, 1, 1)], []))["before_only"] == [1]

    _placed = st.lists(
        st.tuples(st.floats(0, 90), st.floats(0, 70), st.sampled_from([None, 0.4, 1.2, 1.3, 3.0])), max_size=7
    )

    @given(_placed, _placed)
    def test_every_mark_is_told_once(self, first: list[Any], second: list[Any]) -> None:
        ones = [before(k, x, y, length_mm=length) for k, (x, y, length) in enumerate(first)]
        others = [after(k, x, y, length_mm=length) for k, (x, y, length) in enumerate(second)]
        read = swirled(ones, others)
        pairs = [*read.stayed, *read.moved]
        assert sorted([*(one for one, _ in pairs), *read.before_only], key=str) == sorted(ones, key=str)
        assert sorted([*(other for _, other in pairs), *read.after_only], key=str) == sorted(others, key=str)

    def test_the_pair_is_offered_with_what_its_places_say(self) -> None:
        marks = [before(1, 10, 10), before(2, 50, 20, length_mm=2.4)]
        marks += [after(1, 10.1, 10), after(2, 31, 44, length_mm=2.3)]
        stuck, swam = offers(marks, [])
        assert "stayed" in {reason.what for reason in stuck.reasons}
        assert "moved" in {reason.what for reason in swam.reasons}
        assert [each.speck.candidate for each in swam.marks] == [2, 2]


def photograph(body_px: tuple[float, float], noise_seed: int) -> Shot:
    """Still water on a panel, drawn, with a stain of 1.2 mm at one place for good and a body of 2 by 0.9 mm at `body_px`."""
    water = draw(replace(tidy("water", 11, width_px=800, height_px=600), insects=(), clutter=0.0, vessel_edge="none"))
    light = np.where(water.pixels <= 10, water.pixels / (255 * 12.92), ((water.pixels / 255 + 0.055) / 1.055) ** 2.4)
    for inside, passes in ((disc(610, 420, 24), 0.45), (ellipse(*body_px, 40, 18, 35), 0.15)):
        light *= 1 - (1 - passes) * cover(600, 800, inside, 3)[..., None]
    light *= 1 + np.random.default_rng(noise_seed).normal(0, 0.004, light.shape)
    return Shot(np.rint(encode_srgb(np.clip(light, 0, 1)) * 255).astype(np.uint8), "0" * 64, "drawn")


def flagged(shot: Shot, name: str, view: str) -> list[Mark]:
    """What the search flags, as marks."""
    setup = Setup(px_per_mm=20.0, scale_from=ScaleFrom.OPTION, ground=Ground.WATER, lit_from=LitFrom.BELOW)
    marks = []
    for each in inspect(shot, setup, None, shipped_ranker(), Cut(min_score=0.0, max_flags=40)).candidates:
        assert each.sizes is not None
        sizes = {name: getattr(each.sizes, name) for name in ("x_mm", "y_mm", "length_mm", "width_mm")}
        light = {"density": each.measures.density, "delta_e": each.measures.delta_e, "tone": str(each.tone)}
        where = {"x_px": each.measures.x_px, "y_px": each.measures.y_px}
        size = {"size_uncertainty": each.size_uncertainty}
        marks.append(Mark(SpeckId(sha256(name), RUN, each.number), name, view=view, **sizes, **light, **where, **size))
    return marks


def test_on_drawn_water_the_body_moves_and_the_stain_stays() -> None:
    read = swirled(
        flagged(photograph((220, 160), 1), "water.jpg", BEFORE), flagged(photograph((400, 330), 2), "swirl.jpg", AFTER)
    )
    stayed = [one for one, _ in read.stayed if np.hypot(one.x_px - 610, one.y_px - 420) < 10]
    assert len(stayed) == 1
    [(one, other)] = [pair for pair in read.moved if np.hypot(pair[0].x_px - 220, pair[0].y_px - 160) < 10]
    assert np.hypot(other.x_px - 400, other.y_px - 330) < 10
    assert one.length_mm == pytest.approx(2.0, rel=0.1)
