"""Bodies and bits that other hands lend to our own scenes: what light does to them there is worked out a second time here.

That light which passes through one thing after another is multiplied is Bouguer's law; that what lies on a surface lit from above is seen
through twice, and adds what it throws back, common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vision.names import ANIMALS, LOOK_ALIKES
from vision.render import Recipe, draw, tidy
from vision.render.hands import PX_PER_MM
from vision.render.hands.by_hand import HANDS, UNSEEN
from vision.render.hands.lenders import LENDERS, Lender, lent_bit, lent_body
from vision.render.hands.lent import Lent, patch_of
from vision.render.laying import lay_above, lay_below, window
from vision.render.patch import BodyWish
from vision.render.placing import lent_count

FROM_ABOVE = (0.3, -0.4)
EVERY = {name: lender for hands in LENDERS.values() for name, lender in hands.items()}
SMALL = replace(
    tidy("water", 5, width_px=400, height_px=300), insects=(("aphid", 2), ("thrips", 1)), vessel_edge="none"
)


def disc(passing: float, own: float, across_px: int = 41) -> Lent:
    rows, columns = np.indices((across_px + 20, across_px + 20)) - (across_px + 19) / 2
    inside = (np.hypot(rows, columns) < across_px / 2).astype(np.float32)
    through = np.repeat((1 - inside * (1 - passing))[..., None], 3, axis=2).astype(np.float32)
    light = np.repeat((inside * own)[..., None], 3, axis=2).astype(np.float32)
    return Lent(through, light, inside, across_px / PX_PER_MM, across_px / PX_PER_MM)


def test_only_hands_that_are_learned_on_lend() -> None:
    assert set(LENDERS["lent"]) == set(HANDS)
    assert not set(EVERY) & set(UNSEEN)


@pytest.mark.parametrize("below", [True, False])
@pytest.mark.parametrize("hand", EVERY)
@pytest.mark.parametrize("kind", ANIMALS)
def test_a_lent_body_is_as_long_as_it_says_and_less_light_passes_where_it_lies(
    kind: str, hand: str, below: bool
) -> None:
    lent = EVERY[hand].body(kind, below, np.random.default_rng(3))
    assert lent.passing.shape == lent.own.shape == (*lent.body.shape, 3)
    assert all(np.isfinite(values).all() for values in (lent.passing, lent.own, lent.body))
    rows, columns = np.nonzero(lent.body > 0.5)
    assert len(rows)
    # The longest way across it is no longer than it is along its curve; a straight one is about as long.
    corners = np.stack([columns, rows], axis=1)
    across = max(float(np.ptp(corners @ np.array([np.cos(a), np.sin(a)]))) + 1 for a in np.linspace(0, np.pi, 60))
    length_px = lent.length_mm * PX_PER_MM
    assert across <= 1.25 * length_px + 3
    if not lent.curved:
        assert across >= 0.7 * length_px - 2
    # Beside it all light passes and none comes back.
    rim = np.ones(lent.body.shape, bool)
    rim[2:-2, 2:-2] = False
    assert lent.passing[rim].mean() > 0.97
    assert lent.own[rim].mean() < 0.03
    inside = lent.body > 0.9
    if inside.any():
        assert lent.passing[inside].mean() < 0.97


@pytest.mark.parametrize("hand", EVERY)
def test_the_same_seed_draws_the_same_and_another_something_else(hand: str) -> None:
    for draw_one in (
        lambda seed: EVERY[hand].body("thrips", True, rng_of(seed)),
        lambda seed: EVERY[hand].bit(False, rng_of(seed))[1],
    ):
        first, again, other = (draw_one(seed) for seed in (7, 7, 8))
        for name in ("passing", "own", "body"):
            assert np.array_equal(getattr(first, name), getattr(again, name))
        assert (first.length_mm, first.width_mm) == (again.length_mm, again.width_mm)
        assert first.length_mm != other.length_mm


@pytest.mark.parametrize("hand", LENDERS["small"])
def test_small_hands_draw_bits_as_rich_in_colour_and_as_soft_as_insects(hand: str) -> None:
    """Or what is drawn richly would be an insect: opacity and spread of colour of the two overlap widely."""
    rng = rng_of(5)
    of_bodies = [looks(EVERY[hand].body(kind, True, rng)) for kind in ANIMALS for _ in range(4)]
    of_bits = [looks(EVERY[hand].bit(True, rng)[1]) for _ in range(40)]
    for bodies, bits in zip(np.transpose(of_bodies), np.transpose(of_bits), strict=True):
        low, high = np.quantile(bodies, [0.25, 0.75])
        assert np.quantile(bits, 0.1) < high
        assert np.quantile(bits, 0.9) > low


def rng_of(seed: int) -> np.random.Generator:
    return np.random.default_rng(seed)


def looks(lent: Lent) -> tuple[float, float, float]:
    """Mean share that passes where a thing is, its spread, and how far the channels differ."""
    there = 1 - lent.passing.min(axis=2) > 0.05
    if not there.any():
        return 1.0, 0.0, 0.0
    inside = lent.passing[there]
    return float(inside.mean()), float(inside.mean(axis=1).std()), float(np.ptp(inside, axis=1).mean())


@pytest.mark.parametrize("family", LENDERS)
@pytest.mark.parametrize("to_lamp", [None, FROM_ABOVE])
def test_lent_bits_have_names_of_ours(to_lamp: tuple[float, float] | None, family: str) -> None:
    rng = np.random.default_rng(4)
    names = set()
    for _ in range(150):
        kind, patch = lent_bit(BodyWish("", 20.0, to_lamp=to_lamp), rng, family)
        names.add(kind)
        assert patch.length_mm >= patch.width_mm > 0
        assert patch.transmission.min() >= 0
    assert names <= set(LOOK_ALIKES)
    assert len(names) >= 10


@pytest.mark.parametrize("px_per_mm", [10.0, 20.0, 40.0])
def test_a_lent_patch_is_as_large_as_the_scene_asks(px_per_mm: float) -> None:
    patch = patch_of(disc(0.5, 0.1), BodyWish("egg", px_per_mm), np.random.default_rng(1))
    across = 2 * np.sqrt(float(patch.body.sum()) / np.pi) / px_per_mm
    assert across == pytest.approx(41 / PX_PER_MM, rel=0.03)


def test_light_from_below_is_taken_and_given_as_by_the_hand_itself() -> None:
    patch = patch_of(disc(0.4, 0.17), BodyWish("egg", 20.0), np.random.default_rng(1))
    light = np.full((101, 101, 3), 0.85, np.float32)
    w = window(patch, 50, 50, light.shape)
    assert w is not None
    lay_below(light, patch, w, 0.0)
    # On a panel of the hands' own light: what passes and what is thrown back.
    assert light[50, 50] == pytest.approx(0.85 * 0.4 + 0.17, rel=0.01)
    assert light[2, 2] == pytest.approx(0.85)


def test_light_from_above_shows_its_colour() -> None:
    flat = replace(
        patch_of(disc(0.25, 0.3), BodyWish("egg", 20.0, to_lamp=FROM_ABOVE), np.random.default_rng(1)), gloss=0.0
    )
    flat = replace(flat, height_mm=np.zeros_like(flat.height_mm))
    light = np.full((101, 101, 3), 0.6, np.float32)
    w = window(flat, 50, 50, light.shape)
    assert w is not None
    lamp = np.full((*flat.cover.shape, 3), 0.9, np.float32)[w.patch]
    lay_above(light, flat, w, lamp, FROM_ABOVE, 20.0)
    # Ground through it twice, of which its shadow may take some, and its own colour in the lamp's light.
    assert 0.6 * 0.25 * 0.6 + 0.9 * 0.3 <= light[50, 50].mean() <= 0.6 * 0.25 + 0.9 * 0.3 + 0.01


def test_a_wild_one_is_denser_or_thinner_than_drawn() -> None:
    rng = np.random.default_rng(2)
    wish = BodyWish("egg", 20.0, wild=True)
    middles = [float(patch_of(disc(0.5, 0.0), wish, rng).transmission[30, 30].mean()) for _ in range(60)]
    assert np.median(middles) == pytest.approx(0.5, abs=0.1)
    assert min(middles) < 0.35
    assert max(middles) > 0.62


@pytest.mark.parametrize("family", LENDERS)
def test_a_shot_with_lent_bodies_keeps_all_else_of_it(family: str) -> None:
    own, lent = draw(SMALL), draw(replace(SMALL, bodies=family))
    assert [b.kind for b in lent.truth if b.insect] == [b.kind for b in own.truth if b.insect]
    assert [b for b in lent.truth if not b.insect] == [b for b in own.truth if not b.insect]
    assert not np.array_equal(lent.pixels, own.pixels)
    # Far from every insect it is the same picture, but for what a camera does with all of it.
    far = np.ones(own.pixels.shape[:2], bool)
    for body in (b for b in (*own.truth, *lent.truth) if b.insect):
        rows, columns = np.indices(far.shape)
        far &= np.hypot(columns - body.x_px, rows - body.y_px) > 2.5 * body.length_mm * 20
    assert far.mean() > 0.2
    assert np.abs(own.pixels[far].astype(int) - lent.pixels[far]).mean() < 1.0


def test_lent_bits_lie_there_only_where_asked_for_and_the_same_again() -> None:
    asked = replace(SMALL, lent_bits=2.0)
    bare, full, again = draw(SMALL), draw(asked), draw(asked)
    assert lent_count(SMALL) == 0
    assert len(full.truth) > len(bare.truth)
    assert full.truth == again.truth
    assert np.array_equal(full.pixels, again.pixels)


def test_every_hand_lends(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []

    def noting(name: str) -> Lender:
        def body(kind: str, below: bool, rng: np.random.Generator) -> Lent:
            asked.append(name)
            return disc(0.5, 0.1)

        return Lender(body, lambda below, rng: (asked.append(name) or "grit", disc(0.5, 0.1)))  # type: ignore[func-returns-value]

    hands = {name: noting(name) for name in "abcde"}
    monkeypatch.setattr("vision.render.hands.lenders.LENDERS", {"lent": hands})
    for lend in (lent_body, lent_bit):
        asked.clear()
        rng = np.random.default_rng(1)
        for _ in range(200):
            lend(BodyWish("aphid", 20.0), rng, "lent")
        # Each in turn by lot: a fifth of two hundred, give or take.
        assert {name: asked.count(name) for name in hands} == pytest.approx(dict.fromkeys(hands, 40), abs=20)


def test_unknown_families_are_still_refused() -> None:
    with pytest.raises(ValueError, match="bodies must be one of first, second, lent, small"):
        Recipe("water", 1, bodies="third")
