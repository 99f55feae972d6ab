"""Guides: what they hold, held to published sizes; how they are read; that they move order and names and hide nothing."""

from __future__ import annotations

import contextlib
import math

import numpy as np
import pytest
from drawn_shots import panel_shot
from hypothesis import given
from hypothesis import strategies as st
from outside_values import rows

from vision.errors import GuideError
from vision.guides import Guide, guide_names, load_guide, parse_guide
from vision.listing import list_candidates
from vision.names import INSECTS, KINDS, NOT_INSECTS, SOMETHING_ELSE
from vision.pipeline import inspect, observe
from vision.rank import Ranker, shipped_ranker
from vision.render import draw, tidy
from vision.score_scale import ScoreScale
from vision.types import Cut, Ground, Inspection, ScaleFrom, Setup, Shot

GUIDES = [load_guide(name) for name in guide_names()]
AT_20 = Setup(px_per_mm=20.0, scale_from=ScaleFrom.OPTION)
LEAST = b"""
title = "Leek"
lit_from = "below"
ground = "panel"
views = ["peelings"]
preparation = ["Slit it."]
look_at = ["Between the layers."]
source = "common practice, no source"
[[expect]]
kind = "thrips"
name = "onion thrips"
after = "raw"
length_mm = [0.8, 1.2]
colour = "grey"
shape = "linear"
source = "from memory"
[[mistaken]]
name = "soil"
"""


class TestWhatTheyHold:
    def test_every_kind_of_produce_that_is_asked_for_has_one(self) -> None:
        # Common practice, no source: what is checked before it is served.
        assert {"broccoli", "cauliflower", "leafy_greens", "herbs", "scallion", "asparagus", "mushroom", "onion", "berries"} <= {
            guide.name for guide in GUIDES
        }  # fmt: skip

    @pytest.mark.parametrize("published", rows("animal_sizes"), ids=lambda row: f"{row['name']}, {row['source'][:24]}")
    def test_lengths_are_the_published_ones(self, published: dict[str, str]) -> None:
        least, most = float(published["least_mm"]), float(published["most_mm"])
        told = [
            e for guide in GUIDES for e in guide.expect if (e.kind, e.name) == (published["kind"], published["name"])
        ]
        assert told
        for each in told:
            assert each.length_mm[0] <= least
            assert each.length_mm[1] >= most
            assert each.length_mm[1] <= 1.1 * most

    @pytest.mark.parametrize("guide", GUIDES, ids=lambda guide: guide.name)
    def test_every_figure_has_a_source_or_says_that_it_has_none(self, guide: Guide) -> None:
        with_source = {(row["kind"], row["name"]) for row in rows("animal_sizes")}
        for each in guide.expect:
            assert (each.kind, each.name) in with_source or "from memory" in each.source, each.name
            # No width is published anywhere that was read: each says so.
            assert each.width_mm is None or "memory" in each.source or each.kind == "trail", each.name

    @pytest.mark.parametrize("guide", GUIDES, ids=lambda guide: guide.name)
    def test_a_shape_agrees_with_the_size(self, guide: Guide) -> None:
        for each in guide.expect:
            if each.width_mm is None:
                continue
            slender = each.length_mm[1] / each.width_mm[1]
            # Usual proportions, from memory: under 2.5 for what is roundish, 3 and more for thrips, larvae and caterpillars.
            assert slender < 2.5 if each.shape == "round" else slender >= 3, each.name

    def test_the_page_says_who_decides_and_where_figures_come_from(self) -> None:
        for guide in GUIDES:
            page = "\n".join(guide.text)
            assert "supervising authority" in page
            assert all(each.source in page for each in guide.expect)
            assert all(each.name in page for each in (*guide.expect, *guide.mistaken))


class TestReading:
    def test_the_least_that_a_guide_may_hold(self) -> None:
        guide = parse_guide("leek", LEAST)
        assert guide.expected_kinds == {"thrips"}
        assert guide.mistaken_kinds == frozenset()
        assert guide.expect[0].width_mm is None

    @pytest.mark.parametrize(
        ("old", "new", "says"),
        [
            (b'title = "Leek"\n', b"", "title"),
            (b'title = "Leek"', b'title = " "', "title must be a text"),
            (b'title = "Leek"', b'colour = "green"\ntitle = "Leek"', "colour"),
            (b'"below"', b'"inside"', "lit_from must be one of: below"),
            (b'["peelings"]', b'["inside"]', "views must be a list of some of"),
            (b'["Slit it."]', b"[]", "preparation must be a list of texts"),
            (b'kind = "thrips"', b'kind = "unicorn"', "expect 1, kind must be one of: aphid"),
            (b'kind = "thrips"\n', b"", "expect 1, these keys are missing or not known: kind"),
            (b'after = "raw"', b'after = "fried"', "after must be one of: raw"),
            (b"[0.8, 1.2]", b"[1.2, 0.8]", "the least is more than the most"),
            (b"[0.8, 1.2]", b"[0.8]", "two numbers"),
            (b"[0.8, 1.2]", b"[0.8, 12000]", "a number from 0.05 to 60"),
            (b"[0.8, 1.2]", b"[true, 1.2]", "a number from"),
            (b"[0.8, 1.2]", b"[nan, 1.2]", "a number from"),
            (b'shape = "linear"', b'shape = "square"', "shape must be one of: "),
            (b'name = "soil"', b'name = "soil"\nkinds = ["aphid"]', "mistaken 1, kinds must be a list of some of"),
            (b'[[mistaken]]\nname = "soil"', b'[mistaken]\nname = "soil"', "mistaken must be one table or more"),
            (b'[[mistaken]]\nname = "soil"', b"", "mistaken"),
            (b"[[expect]]", b"[px_per_mm]\ninside = 3\n[[expect]]", "does not know the view 'inside'"),
            (b"[[expect]]", b"[px_per_mm]\nwater = 0\n[[expect]]", "px_per_mm.water must be a number from 1 to 400"),
            (b"[[expect]]", b"[[expect", "not TOML"),
            (b"Leek", b"L\xffk", "not TOML"),
        ],
    )  # fmt: skip
    def test_what_is_wrong_is_named(self, old: bytes, new: bytes, says: str) -> None:
        data = LEAST.replace(old, new, 1)
        assert data != LEAST
        with pytest.raises(GuideError) as error:
            parse_guide("leek", data)
        assert says in str(error.value)
        assert "'leek'" in str(error.value)

    @given(st.binary(max_size=80), st.integers(0, len(LEAST)))
    def test_anything_else_is_a_guide_or_a_sentence(self, extra: bytes, at: int) -> None:
        with contextlib.suppress(GuideError):  # the sentence
            assert parse_guide("leek", LEAST[:at] + extra + LEAST[at:]).title

    def test_an_unknown_name_is_told_what_there_is(self) -> None:
        with pytest.raises(GuideError, match="broccoli"):
            load_guide("leek")


@pytest.fixture(scope="module")
def florets() -> Shot:
    drawn = draw(tidy("broccoli", 21, width_px=1000, height_px=750))
    return Shot(drawn.pixels, "0" * 64, "florets.jpg")


def looked_at(shot: Shot, guide: Guide | None, cut: Cut) -> Inspection:
    return inspect(shot, AT_20, guide, shipped_ranker(), cut)


def listed(seen: Inspection) -> set[tuple[float, float, float]]:
    return {(c.measures.x_px, c.measures.y_px, c.score) for c in seen.candidates}


class TestWhatTheyDo:
    @pytest.mark.parametrize("cut", [Cut(), Cut(0.004), Cut(0.004, max_flags=7)], ids=["usual", "low", "limited"])
    def test_a_guide_hides_nothing_and_leaves_the_scores_alone(self, florets: Shot, cut: Cut) -> None:
        without, within = looked_at(florets, None, cut), looked_at(florets, load_guide("broccoli"), cut)
        assert without.candidates
        assert listed(without) == listed(within)
        assert without.left_out == within.left_out
        assert [c.number for c in within.candidates] == list(range(1, len(within.candidates) + 1))

    def test_the_order_without_a_guide_is_that_of_the_scores(self, florets: Shot) -> None:
        scores = [c.score for c in looked_at(florets, None, Cut(0.004)).candidates]
        assert scores == sorted(scores, reverse=True)

    def test_the_order_with_one_is_moved_by_no_more_than_its_odds(self, florets: Shot) -> None:
        found = looked_at(florets, load_guide("broccoli"), Cut(0.004)).candidates
        odds = [math.log(c.score / (1 - c.score)) if c.score < 0.9995 else 8.0 for c in found]
        for k, later in enumerate(odds):
            # Two for the one and a half for the other, and the third digit of either score.
            assert later <= min(odds[: k + 1]) + 2 * math.log(2.0) + 0.1

    def test_what_is_expected_comes_before_what_is_warned_of_at_the_same_score(self, florets: Shot) -> None:
        ranker = shipped_ranker()
        seen = observe(florets, AT_20, None, ranker)
        pair = seen.measured[0], seen.measured[-1]
        for kinds in (("aphid", "bud"), ("bud", "aphid")):
            features = np.array([[KINDS.index(kind)] for kind in kinds], np.float32)
            found, _ = list_candidates(
                pair, features, _Sure(), load_guide("broccoli"), Cut(0.004), Ground.PANEL, AT_20, 1  # type: ignore[arg-type]
            )  # fmt: skip
            assert found[0].measures is pair[kinds.index("aphid")].measures


class _Sure:
    """A ranker that is sure of a speck's kind, which is its only feature, and gives all the same score."""

    kinds = KINDS
    insects = frozenset(INSECTS)
    names, _insect_name = Ranker.names, Ranker._insect_name

    scale = ScoreScale(1.0, 0.0, "test")

    def sums(self, features: np.ndarray) -> np.ndarray:
        return np.full(len(features), 0.5)

    def shares(self, features: np.ndarray) -> np.ndarray:
        return np.eye(len(KINDS))[features[:, 0].astype(int)]


def named(total: float, favour: str = "", **shares: float) -> str:
    row = np.array([[shares.get(kind.replace(" ", "_"), 0.0) for kind in KINDS]])
    factors = np.array([2.0 if kind == favour else 1.0 for kind in KINDS])
    return _Sure().names(row, np.array([total]), factors)[0]  # type: ignore[misc]


class TestNames:
    def test_an_insect_that_was_not_expected_keeps_its_name(self) -> None:
        assert named(2.0, favour="aphid", gnat=0.55, aphid=0.45) == "gnat"

    def test_in_doubt_the_expected_one_lends_its_name(self) -> None:
        assert named(2.0, gnat=0.45, aphid=0.40, mite=0.15) == "gnat"
        assert named(2.0, favour="aphid", gnat=0.45, aphid=0.40, mite=0.15) == "aphid"

    def test_what_resembles_none_plainly_is_something_else(self) -> None:
        assert named(2.0, gnat=0.3, aphid=0.3, mite=0.3) == SOMETHING_ELSE

    def test_what_looks_less_like_an_insect_is_named_as_a_look_alike(self) -> None:
        assert named(-1.0, gnat=0.9, bud=0.06, grit=0.04) == "bud"
        assert named(-1.0, favour="grit", gnat=0.9, bud=0.06, grit=0.04) == "grit"
        assert named(-1.0) in NOT_INSECTS

    def test_nothing_to_list_is_no_list(self) -> None:
        shot = panel_shot([])
        assert looked_at(shot, load_guide("broccoli"), Cut(0.9)).candidates == ()
