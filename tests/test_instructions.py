"""Each instruction on a drawn shot that calls for it, from the file's pixels to the sentence; and silence on shots that do not."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from calib.check import Evidence, check, find_wrong
from calib.reading import Told, read_setup
from calib.slip.draw import piece_bitmap
from calib.slip.layout import strip
from vision.pipeline import inspect
from vision.rank import shipped_ranker
from vision.render import Recipe, draw, tidy
from vision.render.prints import Print
from vision.types import Cut, Inspection, Shot

pytestmark = pytest.mark.slow

INSECTS = (("aphid", 3), ("thrips", 2), ("caterpillar", 1))


def scene(kind: str, seed: int, px_per_mm: float = 20.0, **more: object) -> Recipe:
    base = tidy(kind, seed, width_px=1200, height_px=900, px_per_mm=px_per_mm)
    return replace(base, vessel_edge="none", insects=INSECTS, **more)  # type: ignore[arg-type]


def slip(x_mm: float, y_mm: float) -> tuple[Print, ...]:
    printed = piece_bitmap(strip(), 30.0)
    return (Print(printed.light, printed.px_per_mm, x_mm, y_mm, 4.0, film=True),)


WATER = scene("water", 2101, exposure=0.72, ripple=0.004)
WITH_SLIP = scene("water", 2102, 11.0, exposure=0.72, prints=slip(54, 20), clutter=0.5)
PANEL = scene("blank", 2108, exposure=0.72, clutter=0.5)
FLORETS = scene("broccoli", 2204, 12.0, clutter=0.2, view="underside", heated=False, apart_mm=14, exposure=0.9)


@lru_cache(maxsize=32)
def _looked(recipe: Recipe, view: str, with_scale: bool) -> tuple[Inspection, tuple[str, ...]]:
    drawn = draw(recipe)
    shot = Shot(drawn.pixels, "0" * 64, "a.jpg")
    reading = read_setup(shot, Told(px_per_mm=recipe.px_per_mm if with_scale else None), None, view)
    seen = inspect(shot, reading.setup, None, shipped_ranker(), Cut())
    checked = check(shot, seen, reading, None, view).inspection
    # What each drawn fault must bring about is told apart from how fine the view wants its picture.
    wrong = find_wrong(Evidence(seen, reading, 1.0, ""))
    return checked, tuple(finding.sentence for finding in wrong)


def said(recipe: Recipe, view: str = "water", with_scale: bool = True) -> tuple[str, ...]:
    return _looked(recipe, view, with_scale)[1]


@pytest.mark.parametrize(
    ("recipe", "view"), [(WATER, "water"), (WITH_SLIP, "water"), (PANEL, "peelings"), (FLORETS, "underside")],
    ids=["water", "slip", "panel", "florets"],
)  # fmt: skip
def test_none_of_them_speaks_of_a_good_shot(recipe: Recipe, view: str) -> None:
    assert said(recipe, view) == ()


@pytest.mark.parametrize(
    ("recipe", "view", "words"),
    [
        (replace(WATER, exposure=1.9), "water", "Over-exposed"),
        (replace(WATER, exposure=0.004), "water", "Too dark"),
        (replace(WITH_SLIP, smear=0.35), "water", "Wipe the lens"),
        (replace(FLORETS, apart_mm=None, touching=2), "underside", "touch"),
        (replace(FLORETS, smear=0.35), "underside", "Wipe the lens"),
        (replace(FLORETS, steam=0.5), "underside", "Let it cool: steam"),
        (replace(FLORETS, panel_on=6.0, exposure=0.14), "underside", "The panel outshines the produce"),
        (replace(WATER, foam=0.3), "water", "Tap the tray and wait"),
        (replace(PANEL, wet_panel=0.08), "peelings", "Dry the panel"),
        (replace(WITH_SLIP, shake_px=9.0), "water", "Hold still"),
        (replace(WITH_SLIP, defocus_px=7.0), "water", "Out of focus"),
        (replace(WATER, condensation=0.2), "water", "mist"),
    ],
    ids=["burnt", "dark", "smear", "touching", "smear-florets", "steam", "outshines", "bubbles", "drops", "moved", "defocus", "mist"],
)  # fmt: skip
def test_each_fault_is_answered(recipe: Recipe, view: str, words: str) -> None:
    assert any(words in sentence for sentence in said(recipe, view)), said(recipe, view)


def test_glare_is_placed() -> None:
    found = said(replace(WATER, glare=1.5))
    assert any(sentence.startswith("Glare ") and "move the lamp" in sentence for sentence in found)


def test_a_shot_too_coarse_asks_for_2x_and_one_only() -> None:
    coarse = scene("water", 2103, 14.0, exposure=0.72)
    checked, _ = _looked(coarse, "water", True)
    assert checked.instruction == "Closer, or 2x: 14 px/mm, this needs 20."


def test_without_a_scale_nothing_is_said_of_fineness() -> None:
    checked, wrong = _looked(WATER, "water", False)
    assert wrong == ()
    assert checked.reasons[0].startswith("No scale")


def test_what_is_hidden_is_counted() -> None:
    good, misty = (_looked(r, "water", True)[0].quality.unsearched for r in (WATER, replace(WATER, condensation=0.2)))
    assert misty > good + 0.05
    assert np.asarray(_looked(replace(WATER, condensation=0.2), "water", True)[0].unsearched).any()
