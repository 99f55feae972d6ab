"""What the ranker learns from, gathered on small drawn shots: places and specks with their labels, flags of the mix."""

from __future__ import annotations

from collections import Counter
from dataclasses import fields, replace

import numpy as np
import pytest

from vision.features import ALONG, FEATURES
from vision.glance import GLANCES
from vision.lessons import Lesson, lessons, mixed_shots
from vision.names import ANIMALS, INSECTS, KINDS
from vision.patches import TURNED_SIDE
from vision.rank import shipped_ranker
from vision.render import Recipe, draw, tidy
from vision.render.hands.by_hand import HANDS, UNSEEN, HandShot, draw_by_hand
from vision.render.hands.by_hand import KINDS as HAND_KINDS
from vision.render.recipe import KINDS as RECIPE_KINDS
from vision.train import Labelled, examples_of, flags_of, learn_bodies, learn_kinds, places_of, specks_of

SMALL = replace(
    tidy("water", 5, width_px=500, height_px=400), insects=(("aphid", 4), ("caterpillar", 2)), vessel_edge="none"
)

THIN = replace(SMALL, insects=(("thrips", 6), ("mite", 4)))


def test_every_plain_insect_has_a_place_of_its_size() -> None:
    places = places_of(Lesson(SMALL, True))
    assert places is not None
    assert places.insect.sum() >= 6


@pytest.mark.parametrize("told", [True, False])
def test_places_come_with_pictures_and_stand_for_all_that_there_were(told: bool) -> None:
    places = places_of(Lesson(THIN, told))
    assert places is not None
    many = len(places.insect)
    assert places.glances.shape == (many, len(GLANCES))
    assert len(places.patches) == len(places.level) == len(places.sigma_px) == many
    assert set(np.unique(places.insect)) == {0.0, 1.0}
    assert np.isnan(places.sigma_mm).all() != told
    # Each place with an insect stands for itself, the others for all that were not drawn.
    assert set(places.standing_for[places.insect == 1]) == {1.0}
    assert (places.standing_for[places.insect == 0] >= 1.0).all()


def test_an_insect_weighs_less_than_it_comes_up_and_a_crowd_of_places_less_than_its_number() -> None:
    places = places_of(Lesson(THIN, True))
    assert places is not None
    examples = examples_of(places)
    insect = examples.insect == 1
    assert (examples.weight[insect] < 1).all()
    assert examples.weight[~insect] == pytest.approx(np.sqrt(places.standing_for[~insect]))


def test_specks_are_labelled_by_what_was_drawn() -> None:
    found = specks_of(Lesson(SMALL, True), shipped_ranker())
    assert found is not None
    assert found.features.shape == (len(found.kind), len(FEATURES))
    names = [KINDS[k] for k in found.kind]
    assert 3 <= sum(name in ANIMALS for name in names) <= 6
    assert {"aphid", "caterpillar"} <= set(names)
    # Without a scale nothing in millimetres is learned from.
    blind = specks_of(Lesson(SMALL, False), shipped_ranker())
    assert blind is not None
    in_mm = [k for k, name in enumerate(FEATURES) if name.endswith("_mm")]
    assert np.isnan(blind.features[:, in_mm]).all()
    assert not np.isnan(found.features[:, in_mm]).any()


def test_specks_come_with_their_pictures_and_what_is_said_of_them_comes_from_lessons_not_learned_on() -> None:
    parts = [specks_of(Lesson(replace(THIN, seed=seed), True), shipped_ranker()) for seed in (6, 7)]
    assert all(part is not None and len(part.kind) for part in parts)
    rows = Labelled(*(np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(Labelled)))
    many = len(rows.kind)
    assert rows.patches.shape == (many, 1, TURNED_SIDE, TURNED_SIDE, 3)
    assert len(rows.level) == len(rows.sigma_px) == len(rows.sigma_mm) == many
    assert set(rows.fold) == {0, 1}
    nets, told = learn_bodies(rows, 1)
    assert len(nets) == 2
    for fold, net in enumerate(nets):
        unseen = rows.fold == fold
        said = net.raw(rows.patches[unseen], rows.level[unseen], rows.sigma_px[unseen], rows.sigma_mm[unseen])
        assert told.features[unseen, ALONG] == pytest.approx(said, abs=2e-4)
    # Nothing else of them is changed.
    others = np.arange(len(FEATURES)) != ALONG
    assert np.array_equal(told.features[:, others], rows.features[:, others], equal_nan=True)


def test_flags_of_the_mix_are_hits_or_none() -> None:
    flags = flags_of(Lesson(SMALL, True), shipped_ranker())
    assert flags.shape[1] == 2
    assert 3 <= flags[:, 1].sum() <= 6
    # Insects stand higher in the list than the rest of it does, on average.
    assert flags[flags[:, 1] == 1, 0].mean() > flags[flags[:, 1] == 0, 0].mean()
    bare = flags_of(Lesson(replace(SMALL, insects=()), True), shipped_ranker())
    assert bare[:, 1].sum() == 0


def test_places_on_no_insect_are_none() -> None:
    bare = replace(SMALL, insects=())
    places = places_of(Lesson(bare, True))
    assert places is not None
    assert places.insect.sum() == 0
    assert not [body for body in draw(bare).truth if body.insect]


def test_specks_on_no_insect_have_no_name_where_another_hand_drew() -> None:
    found = specks_of(Lesson(HandShot("layered", "water", 3, 8, width_px=500, height_px=400), True), shipped_ranker())
    assert found is not None
    assert not found.named.any()
    assert any(KINDS[k] in ANIMALS for k in found.kind)
    rows = Labelled(*(np.concatenate([getattr(found, f.name)] * 12) for f in fields(Labelled)))
    _, names = learn_kinds(rows, 1)
    assert set(names) <= set(INSECTS)


def test_lessons_hold_all_that_is_to_be_told_apart() -> None:
    shots = [lesson.shot for lesson in lessons(300, 11)]
    own = [shot for shot in shots if isinstance(shot, Recipe)]
    assert {name for shot in own for name, many in shot.insects or () if many} == set(INSECTS)
    assert 0.1 < np.mean([not lesson.told_scale for lesson in lessons(300, 11)]) < 0.3
    assert 0.4 < np.mean([shot.wild for shot in own]) < 0.6
    assert {shot.bodies for shot in own} == {"first"}
    assert 0.2 < np.mean([shot.plant_bits == 0 for shot in own]) < 0.4
    assert {shot.kind for shot in own} == set(RECIPE_KINDS)


def test_three_in_five_lessons_are_drawn_by_other_hands_each_of_all_it_draws() -> None:
    shots = [lesson.shot for lesson in lessons(300, 11)]
    others = [shot for shot in shots if isinstance(shot, HandShot)]
    assert len(others) == 180
    turns = Counter((shot.hand, shot.kind) for shot in others)
    assert set(turns) == {(hand, kind) for hand in HANDS for kind in HAND_KINDS}
    assert max(turns.values()) - min(turns.values()) <= 1
    assert len({shot.seed for shot in shots}) == 300


def test_hands_that_judge_are_never_learned_on() -> None:
    assert not set(UNSEEN) & set(HANDS)
    shots = [lesson.shot for lesson in (*lessons(1400, 11), *mixed_shots(175, 11))]
    assert {shot.hand for shot in shots if isinstance(shot, HandShot)} == set(HANDS)


def test_a_shot_taken_from_farther_off_holds_the_same_insects() -> None:
    near = draw_by_hand(HandShot("layered", "water", 4, 6, width_px=600, height_px=400))
    far = draw_by_hand(HandShot("layered", "water", 4, 6, shrink=0.5, width_px=600, height_px=400))
    assert far.pixels.shape == (200, 300, 3)
    assert far.px_per_mm == 10.0
    for body, same in zip(near.truth, far.truth, strict=True):
        # Pixel x of the half picture covers pixels 2 x and 2 x + 1.
        assert 2 * same.x_px + 0.5 == pytest.approx(body.x_px)
        assert same.length_mm == body.length_mm
