"""The accuracy bench's own parts: what is drawn, limits, peers, stages of the search, sizes and classes, the ideal observer."""

from __future__ import annotations

from dataclasses import replace

import cv2
import efficiency
import numpy as np
import pytest
from bench_tables import limits, recalls, share
from hands import ours, shots
from judging import Job, choose, judge, try_peers
from listing import LOST, NO_PLACE, near, plain, small_larva, stages_of
from numpy.typing import NDArray
from peers import PEERS, choices, find, flattened
from scipy.stats import binomtest, norm
from sizing import shape_rows, sized, sizing_rows, true_shape
from standard import HELD_OUT, SCENES, TUNING, USUAL, larvae, scaled, standard, wild

from vision.counting import NEVER, ShotCount, count_places
from vision.foreground import find_surfaces
from vision.pipeline import inspect, see_light
from vision.rank import shipped_ranker
from vision.render import Drawn, TrueBody, draw, tidy
from vision.render.hands.by_hand import UNSEEN, HandShot
from vision.render.hands.lenders import LENDERS
from vision.render.recipe import BODIES, KINDS
from vision.specks import search_places
from vision.types import Candidate, Cut, Setup, Shot


@pytest.fixture(scope="module")
def drawn() -> Drawn:
    return draw(replace(tidy("water", 3, width_px=400, height_px=300), insects=(("aphid", 2), ("thrips", 1))))


@pytest.fixture(scope="module")
def shot(drawn: Drawn) -> Shot:
    return Shot(drawn.pixels, "0" * 64, "w")


@pytest.fixture(scope="module")
def flags(shot: Shot) -> tuple[Candidate, ...]:
    return inspect(shot, Setup(px_per_mm=20.0), None, shipped_ranker(), Cut(0.0)).candidates


@pytest.fixture(scope="module")
def body(drawn: Drawn) -> TrueBody:
    return next(b for b in drawn.truth if b.insect)


class TestWhatIsDrawn:
    @pytest.mark.parametrize("hand", UNSEEN)
    def test_every_other_shot_by_another_hand_holds_six_insects(self, hand: str) -> None:
        some = shots(hand, "water", 10)
        assert [shot.insects for shot in some] == [0, 6] * 5
        assert {(shot.hand, shot.width_px, shot.height_px, shot.shrink) for shot in some} == {(hand, 2000, 1500, 1.0)}
        assert len({shot.seed for shot in some}) == 10

    @pytest.mark.parametrize("bodies", BODIES)
    def test_bodies_of_any_family_lie_on_our_grounds_with_bycatch_of_those_who_lend_them(self, bodies: str) -> None:
        some = ours("water", bodies, 6)
        assert [shot.insects for shot in some] == [standard("water", k, bodies).insects for k in range(6)]
        assert {(shot.bodies, shot.lent_bits > 0) for shot in some} == {(bodies, bodies in LENDERS)}

    def test_a_shot_by_another_hand_is_judged_as_ours_are(self) -> None:
        job = Job(HandShot("solid", "water", HELD_OUT + 1, 6, width_px=500, height_px=400))
        found = judge(job).ours
        assert 1 <= len(found.bodies) <= 6
        assert any(hit > NEVER for hit in found.hits)

    @pytest.mark.parametrize("kind", SCENES)
    @pytest.mark.parametrize("bodies", ["first", "second"])
    def test_two_hundred_shots_hold_six_hundred_insects(self, kind: str, bodies: str) -> None:
        recipes = [standard(kind, k, bodies) for k in range(200)]
        assert sum(many for r in recipes for _, many in r.insects or ()) == 600
        assert {len(r.insects or ()) > 0 for r in recipes[1::2]} == {True}
        assert {r.insects for r in recipes[::2]} == {()}
        assert {(r.width_px, r.height_px, r.px_per_mm, r.clutter, r.bodies) for r in recipes} == {
            (2000, 1500, 20.0, 1.0, bodies)
        }
        assert {name for r in recipes for name, _ in r.insects or ()} == set(SCENES[kind].insects)

    def test_every_kind_of_scene_can_be_asked_for(self) -> None:
        assert set(SCENES) == set(KINDS) - {"blank"}
        assert set(USUAL) <= set(SCENES)

    def test_no_seed_is_used_twice(self) -> None:
        recipes = [standard("water", k, "second", s) for k in range(200) for s in (TUNING, TUNING - 50_000_000)]
        recipes += [scaled("water", k, 8.0, "second") for k in range(20)] + [
            larvae("water", k, "second") for k in range(20)
        ]
        assert len({r.seed for r in recipes}) == len(recipes)
        assert wild("water", 1, "second").wild


class TestCounting:
    @pytest.mark.parametrize(("found", "of"), [(0, 10), (3, 11), (10, 10), (571, 600)])
    def test_limits_are_those_of_scipy(self, found: int, of: int) -> None:
        interval = binomtest(found, of).proportion_ci(method="exact")
        assert limits(found, of) == pytest.approx((interval.low, interval.high), abs=1e-9)

    def test_a_share_of_nothing(self) -> None:
        assert share(0, 0) == "-"
        assert share(5, 10) == "0.50 (0.19-0.81)"  # Clopper and Pearson 1934: 0.187, 0.813

    def test_each_hit_names_its_flag(self, body: TrueBody) -> None:
        one, two = replace(body, x_px=100.0, y_px=100.0), replace(body, x_px=300.0, y_px=100.0)
        counted = count_places([(300.0, 100.0, 0.2), (900.0, 100.0, 0.5), (301.0, 100.0, 0.4)], [one, two], 20.0)
        assert counted.flags == (-1, 2)
        assert counted.hits == (NEVER, 0.4)
        assert counted.false == (0.5,)

    def test_a_part_of_the_insects_is_judged_at_the_cut_of_all(self, body: TrueBody) -> None:
        mite = replace(body, kind="mite")
        shot = ShotCount((body, mite), (0.9, 0.3), (0, 1), (0.8, 0.5, 0.4, 0.2))
        assert recalls([shot], lambda b: b.kind == "mite")[:4] == ["1", share(0, 1), share(0, 1), share(1, 1)]


@pytest.fixture(scope="module")
def pixels() -> NDArray[np.uint8]:
    y, x = np.mgrid[0:240, 0:320].astype(float)
    grey = np.full((240, 320), 180.0) + np.random.default_rng(1).normal(0, 2, (240, 320))
    grey -= 110 * (np.hypot(x - 91, y - 120) <= 6)
    grey += 60 * (np.hypot(x - 231, y - 80) <= 6)
    blurred = cv2.GaussianBlur(grey, (0, 0), 1.0)
    return np.repeat(np.clip(blurred, 0, 255).astype(np.uint8)[..., None], 3, axis=2)


class TestPeers:
    @pytest.mark.parametrize("name", PEERS)
    @pytest.mark.parametrize("picture", ["grey", "colour"])
    def test_finds_a_dark_and_a_light_disc_first(self, name: str, picture: str, pixels: NDArray[np.uint8]) -> None:
        wish = [w for w in choices(name) if w["picture"] == picture][-1]
        found = find(name, flattened(pixels), **wish)
        for x, y in ((91, 120), (231, 80)):
            away = [np.hypot(f[0] - x, f[1] - y) for f in found[:6]]
            assert min(away) < 1.5, found[:6]
        assert [f[2] for f in found] == sorted((f[2] for f in found), reverse=True)

    def test_the_best_of_the_choices_is_taken(self, body: TrueBody) -> None:
        none, all_ = ShotCount((body,), (NEVER,), (-1,), ()), ShotCount((body,), (1.0,), (0,), ())
        tried = {name: [none] * (len(choices(name)) - 1) + [all_] for name in PEERS}
        assert choose([tried]) == {name: choices(name)[-1] for name in PEERS}


class TestOneShot:
    def test_all_are_counted_on_the_same_insects(self) -> None:
        recipe = replace(standard("water", 1, "first"), width_px=500, height_px=400)
        seen = judge(Job(recipe, alone=True, peers={"sep": choices("sep")[0]}))
        assert set(seen.others) == {"our search alone", "its signal to noise alone", "sep"}
        assert all(c.bodies == seen.ours.bodies for c in seen.others.values())
        assert not judge(Job(recipe)).others

    def test_a_scale_may_be_kept_from_us_and_counts_stay_in_millimetres(self) -> None:
        recipe = replace(standard("water", 1, "first"), width_px=500, height_px=400)
        told, untold = judge(Job(recipe)), judge(Job(recipe, told_scale=False))
        assert told.ours.bodies == untold.ours.bodies
        assert told.ours.hits != untold.ours.hits
        assert untold.sizes == []

    def test_every_choice_of_every_peer_is_tried(self) -> None:
        tried = try_peers(replace(standard("water", 1, "first"), width_px=240, height_px=200))
        assert {name: len(counts) for name, counts in tried.items()} == {name: len(choices(name)) for name in PEERS}


class TestListing:
    def test_what_must_be_listed(self, body: TrueBody) -> None:
        body = replace(body, length_mm=1.0, width_mm=0.3, visible=0.5, delta_e=10.0)
        assert plain(body, 10.0)
        for change in ({"length_mm": 0.9}, {"width_mm": 0.2}, {"visible": 0.4}, {"delta_e": 9.0}):
            assert not plain(replace(body, **change), 10.0)
        assert small_larva(replace(body, kind="larva", length_mm=0.4), 25.0)
        assert not small_larva(replace(body, kind="mite", length_mm=0.4), 25.0)

    def test_a_flag_may_have_to_have_the_size(self, body: TrueBody, flags: tuple[Candidate, ...]) -> None:
        assert near(body, flags, 20.0)
        assert near(body, flags, 20.0, sized=True)
        assert not near(replace(body, length_mm=8 * body.length_mm), flags[:1], 20.0, sized=True)

    def test_where_a_body_is_lost(self, drawn: Drawn, shot: Shot, body: TrueBody) -> None:
        light = see_light(shot, Setup(px_per_mm=20.0))
        search = search_places(
            light, find_surfaces(light.density, None, 20.0 / light.step), 20.0 / light.step, shot.pixels
        )
        assert search is not None
        x, y = (v * light.step for v in (search.places.column, search.places.row))
        rows, columns = np.mgrid[20:280:5, 20:380:5]
        away = np.min([np.hypot(columns - a, rows - b) for a, b in zip(x, y, strict=True)], axis=0)
        bare = np.unravel_index(int(away.argmax()), away.shape)
        assert away[bare] > 12  # a reach of half a millimetre is ten pixels
        nowhere = replace(body, x_px=float(columns[bare]), y_px=float(rows[bare]), length_mm=0.5)
        assert stages_of([body, nowhere], drawn, shot, shipped_ranker()) == [LOST, NO_PLACE]


class TestSizes:
    def test_the_class_a_body_was_drawn_in(self, body: TrueBody) -> None:
        body = replace(body, length_mm=2.5, width_mm=1.0, curved=False)
        assert true_shape(body) == "linear"
        assert true_shape(replace(body, curved=True)) == "curved"
        assert true_shape(replace(body, curved=True, width_mm=1.1)) == "round"
        assert true_shape(replace(body, kind="trail")) == "trail"

    def test_only_whole_bodies_that_were_flagged_are_measured(
        self, body: TrueBody, flags: tuple[Candidate, ...]
    ) -> None:
        flag = flags[0]
        true = replace(
            body,
            visible=1.0,
            length_mm=flag.measures.length_px / 20 / 1.1,
            width_mm=flag.measures.width_px / 20 / 0.9,
        )

        def measured(like: TrueBody, score: float) -> list[tuple[float, float]]:
            return [(s.length_error, s.width_error) for s in sized(ShotCount((like,), (score,), (0,), ()), flags, 20.0)]

        assert measured(true, 0.5) == [pytest.approx((0.1, -0.1))]
        assert measured(true, Cut().min_score / 2) == []
        assert measured(replace(true, visible=0.9), 0.5) == []
        assert measured(replace(true, length_mm=0.4), 0.5) == []

    def test_gnats_and_skins_are_counted_apart(self, body: TrueBody, flags: tuple[Candidate, ...]) -> None:
        whole = replace(body, visible=1.0)
        bodies = (whole, replace(whole, kind="skin"))
        found = sized(ShotCount(bodies, (0.9, 0.9), (0, 0), ()), flags, 20.0)
        assert "of 1 =" in shape_rows(found)[-1]
        assert any(row.startswith("| (skin) |") for row in shape_rows(found))
        assert len(sizing_rows("water", found)) == 2


@pytest.fixture(scope="module")
def field() -> efficiency.Field:
    return efficiency.draw_field(efficiency.disc(9.0), 0, efficiency.FAINT)


class TestIdealObserver:
    def test_a_matched_filter_is_ideal(self, field: efficiency.Field) -> None:
        # The ideal observer of a known signal in white noise is the matched filter; its own d' is known exactly.
        half = field.shapes[0].shape[0] // 2
        total = np.pad(field.density.sum(axis=0), half)

        def filtered(places: NDArray[np.int64]) -> NDArray[np.float64]:
            template = cv2.GaussianBlur(field.shapes[0], (0, 0), 0.01)
            y0, x0 = np.round(np.array(np.nonzero(template)).mean(axis=1)).astype(int)
            return np.array(
                [(total[r + half - y0 :, c + half - x0 :][: 2 * half, : 2 * half] * template).sum() for r, c in places]
            )

        some, none = filtered(field.some), filtered(field.none)
        # Half a pixel of shift takes a few hundredths off; 128 trials each way leave a standard error of about 0.25.
        assert efficiency.d_prime(some, none) == pytest.approx(efficiency.FAINT, abs=0.6)

    def test_the_search_comes_after_it_and_before_chance(self, field: efficiency.Field) -> None:
        maps = efficiency.search(field.density)
        largest, _ = (efficiency.signals_at(maps, places) for places in (field.some, field.none))
        assert largest[0].shape == (128,)
        assert len(largest[1]) == len(maps) + sum(m.line is not None for m in maps)
        (near_some, _), (near_none, _) = largest, efficiency.signals_at(maps, field.none)
        seen = efficiency.efficiency(efficiency.FAINT, efficiency.d_prime, near_some, near_none)
        assert 0.1 < seen.low <= seen.share <= seen.high < 1.1

    def test_the_signal_is_what_the_ideal_is_worked_out_for(self, field: efficiency.Field) -> None:
        strengths = [np.sqrt(3 * (shape**2).sum()) / 0.02 for shape in field.shapes]
        assert strengths == pytest.approx([efficiency.FAINT] * 128, rel=1e-4)

    def test_as_a_search_it_is_hits_and_false_flags_in_standard_deviations(self) -> None:
        # The equal-variance normal model of signal detection: d' = z(hits) - z(false flags) (Green and Swets, 1966; from memory).
        some = np.random.default_rng(3).normal(5.0, 1.0, 20_000)
        assert efficiency.d_prime_searched(some, float(norm.isf(1e-4))) == pytest.approx(5.0, abs=0.03)

    def test_the_threshold_is_what_one_bare_place_in_ten_thousand_is_above(self) -> None:
        noise = np.random.default_rng(4).normal(0, 1, (2, 300_000))
        bare = efficiency.Bare(noise[0], np.stack([noise[1], 2 * noise[1]]))
        assert bare.thresholds(1) == pytest.approx((norm.isf(1e-4), 2 * norm.isf(1e-4)), rel=0.05)
