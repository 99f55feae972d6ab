"""Guides: what they hold, held to published sizes; how they are read; that they move order and names and hide nothing."""

from __future__ import annotations

import contextlib
import math
import pickle
import re
import tomllib
from importlib import resources

import numpy as np
import pytest
from drawn_shots import panel_shot
from hypothesis import given
from hypothesis import strategies as st
from made_guides import LEAST, as_toml, least
from outside_values import rows
from remake_readme import README
from test_documents import SET_UP, rows_after
from test_house import forbidden

from cli.batch.belonging import view_of
from vision.errors import GuideError
from vision.guides import Guide, guide_called, guide_names, load_guide, parse_guide
from vision.guides.entries import KEYS, Unit
from vision.guides.page import ASK, CAUTIONS, COLUMNS
from vision.guides.views import BLANK, VIEWS
from vision.listing import list_candidates
from vision.names import INSECTS, KINDS, NOT_INSECTS, SOMETHING_ELSE
from vision.pipeline import Seen, inspect_seen, observe
from vision.rank import Ranker, shipped_ranker
from vision.render import draw, tidy
from vision.score_scale import ScoreScale
from vision.types import Cut, Ground, Inspection, ScaleFrom, Setup, Shot

GUIDES = [load_guide(name) for name in guide_names()]
AT_20 = Setup(px_per_mm=20.0, scale_from=ScaleFrom.OPTION)


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
            page = said_by(guide)
            assert "supervising authority" in page
            assert all(each.source in page for each in guide.expect)
            assert all(each.name in page for each in (*guide.expect, *guide.mistaken))

    @pytest.mark.parametrize("guide", GUIDES, ids=lambda guide: guide.name)
    def test_each_file_holds_the_keys_and_no_others(self, guide: Guide) -> None:
        data = resources.files("vision.guides").joinpath(f"{guide.name}.toml").read_text(encoding="utf-8")
        assert set(tomllib.loads(data)) == set(KEYS) - {"px_per_mm"}

    @pytest.mark.parametrize("guide", GUIDES, ids=lambda guide: guide.name)
    def test_a_blank_comes_first(self, guide: Guide) -> None:
        assert (guide.views[0], guide.sample[0]) == (BLANK, BLANK)

    @pytest.mark.parametrize(
        ("name", "unit", "faces", "sample"),
        [
            # Common practice, no source.
            ("broccoli", Unit.EVERY_PIECE, {"underside", "opened"}, set()),
            ("cauliflower", Unit.DRAWN_SAMPLE, {"underside", "opened"}, set()),
            ("mushroom", Unit.EVERY_PIECE, {"opened"}, set()),
            ("scallion", Unit.EVERY_PIECE, {"layers", "onblack"}, {"water", "swirl"}),
            ("onion", Unit.EVERY_PIECE, {"peelings"}, set()),
            ("asparagus", Unit.EVERY_PIECE, {"peelings"}, set()),
            ("canned_asparagus", Unit.DRAWN_SAMPLE, set(), {"liquid", "swirl"}),
            ("leafy_greens", Unit.EVERY_PIECE, {"layers", "flipped"}, {"cloth"}),
            ("herbs", Unit.DRAWN_SAMPLE, {"layers", "flipped"}, {"cloth"}),
            ("berries", Unit.DRAWN_SAMPLE, set(), {"water", "swirl", "cloth"}),
        ],
    )
    def test_what_each_asks_for(self, name: str, unit: Unit, faces: set[str], sample: set[str]) -> None:
        guide = load_guide(name)
        assert (guide.unit, set(guide.faces), set(guide.sample)) == (unit, faces, {BLANK} | sample)

    def test_water_that_is_asked_for_is_shot_twice(self) -> None:
        for guide in GUIDES:
            assert ("swirl" in guide.sample) == bool({"water", "liquid"} & set(guide.sample)), guide.name
            assert ("swirl" in guide.views) == bool({"water", "liquid"} & set(guide.views)), guide.name

    def test_each_travels_to_another_process(self) -> None:
        for guide in GUIDES:
            assert pickle.loads(pickle.dumps(guide)) == guide

    def test_what_a_slip_says_finds_it(self) -> None:
        leek = parse_guide("leek", LEAST)
        assert guide_called(" Leafy greens ", {}) == load_guide("leafy_greens")
        assert guide_called("Leek", {"leek": leek}) is leek
        assert guide_called("Leek", {}) is None
        assert guide_called("", {"leek": leek}) is None


# What common practice has a checker of each kind do or know, no source.
_FACTS = {
    "broccoli": ("Every piece", "Cut small", "1.5 to 2 minutes in a microwave or about two on the stove", "hand-warm",
                 "1. The underside of the stem", "until no inner face is unseen", "break and shed", "buds, browned by heat"),
    "cauliflower": ("Less prone", "four to six pieces from different parts of the head", "raw will do", "grey to black, some brown",
                    "in water for two minutes, lift them out", "adds to the look", "brown flecks", "crumbs"),
    "mushroom": ("Button and shiitake are usually not looked at", "between the gills",
                 "take the stem out, scrape the gills off, wash the cap",
                 "Flies sit in the gills", "scrapings"),
    "scallion": ("Cut the root end off", "from the leaf through the bulb", "two to four thin layers",
                 "translucent, greenish and under 1 mm",
                 "grip is weak", "Rinse along the layers", "on black card", "part of the green with trails, cut out; or the whole shoot"),
    "onion": ("peel the dry outside and the layers that come with it", "cut the bad part away first", "inner layers", "onion thrips",
              "black dots of mould"),
    "asparagus": ("A picture of an untouched spear shows nothing", "is never counted", "Cut the tip off and take the scales off, or peel",
                  "inner side up", "thrips sit on the ledge under the scales", "Strong heat brings thrips out"),
    "canned_asparagus": ("several cans", "liquid into the tray", "after a swirl"),
    "leafy_greens": ("lit from below: winding trails", "turned over", "through a fine white cloth"),
    "herbs": ("lit from below: winding trails", "turned over", "through a fine white cloth"),
    "berries": ("Rinse in water", "through a fine white cloth"),
}  # fmt: skip
_HEADS = [
    *("First", "Prepare", "Look at", "Shots", "Expect", "Looks alike", "Removed", "On a find", "Figures", "Cautions"),
    "Who decides",
]


def said_by(guide: Guide) -> str:
    """The page's words, however its lines are broken."""
    return " ".join(" ".join(guide.text).split())


def items(guide: Guide, head: str) -> list[str]:
    """What the page says under one head, each item on a line of its own."""
    beside: list[str] = []
    at = ""
    for line in guide.text[1:]:
        at = line[:13].strip() or at
        if at == head and line.strip():
            said = line[13:]
            beside = [*beside[:-1], f"{beside[-1]} {said.strip()}"] if said.startswith("  ") else [*beside, said]
    return beside


@pytest.mark.parametrize("guide", GUIDES, ids=lambda guide: guide.name)
class TestPages:
    def test_fits_on_one(self, guide: Guide) -> None:
        assert len(guide.text) <= 60
        assert max(map(len, guide.text)) <= COLUMNS == 100

    def test_goes_in_the_order_of_the_work(self, guide: Guide) -> None:
        assert [line[:13].strip() for line in guide.text[1:] if line[:1].strip()] == _HEADS

    def test_says_what_is_done(self, guide: Guide) -> None:
        page = said_by(guide)
        for part in (*guide.before, *guide.preparation, *guide.look_at, *guide.removes.what, *_FACTS[guide.name]):
            assert part in page, part

    def test_says_what_each_shot_is(self, guide: Guide) -> None:
        for view in guide.views:
            (row,) = [line.split() for line in guide.text if line[13:].startswith(f"{view} ")]
            assert f"{VIEWS[view].px_per_mm:g}" in row
            assert " ".join(row).endswith(VIEWS[view].shows)

    def test_gives_every_figure_with_its_source(self, guide: Guide) -> None:
        figures = dict(re.findall(r"\[(\d+)\] (.*?)\.(?= \[|$)", " ".join(items(guide, "Figures"))))
        for each in guide.expect:
            size = f"{each.length_mm[0]:g}-{each.length_mm[1]:g}"
            (told,) = [item for item in items(guide, "Expect") if item.startswith(f"{each.name}, {size} ")]
            look = re.search(rf"; [^:;]*\b{each.after}\b[^:;]*: {re.escape(each.colour)} \[(\d+)\]", told)
            assert look, told
            assert figures[look.group(1)] == each.source
            assert (
                each.width_mm is None or f"{size} x {each.width_mm[0]:g}-{each.width_mm[1]:g} mm, {each.shape};" in told
            )

    def test_warns_of_what_may_harm(self, guide: Guide) -> None:
        assert all(caution in said_by(guide) for caution in CAUTIONS)

    def test_asks_the_authority_wherever_something_is_heated(self, guide: Guide) -> None:
        assert guide.heats == any(each.after == "heated" for each in guide.expect)
        assert (ASK in said_by(guide)) == guide.heats

    def test_says_that_a_removal_is_no_finding_of_none(self, guide: Guide) -> None:
        assert ("Log `removed`: an outcome, not a finding of none." in said_by(guide)) == bool(guide.removes.what)

    def test_says_no_forbidden_word(self, guide: Guide) -> None:
        assert [word for line in guide.text for word in forbidden(line)] == []


def test_pages_warn_in_the_readme_s_words() -> None:
    readme = " ".join(README.read_text(encoding="utf-8").split())
    for caution in CAUTIONS[1:]:
        assert caution in readme
    assert CAUTIONS[0].split(";")[0] in readme


def test_a_page_of_long_words_keeps_its_width() -> None:
    guide = parse_guide("leek", as_toml(least(title="L" * 300, before=["x" * 500], look_at=["y " * 300])))
    assert max(map(len, guide.text)) <= COLUMNS


class TestViews:
    def test_the_set_up_page_says_the_same_of_each(self) -> None:
        said = {row[0].strip("`"): row[1] for row in rows_after(SET_UP, "views")}
        assert said == {name: view.shows for name, view in VIEWS.items()}

    @pytest.mark.parametrize(
        ("shot", "view"),
        [
            ("lot-1/4-water-swirl.jpg", "swirl"),
            ("lot-1/blank_water.jpg", "blank"),
            ("lot-1/layers onblack 2.jpg", "onblack"),
            ("lot-1/layers-flipped.jpg", "flipped"),
            ("cans/liquid3.jpg", "liquid"),
            ("layers/IMG_2.jpg", "layers"),
            ("layers/IMG_2-untouched.jpg", "layers"),
        ],
    )
    def test_a_name_says_the_one_that_says_more(self, shot: str, view: str) -> None:
        assert view_of(shot) == view

    @pytest.mark.parametrize(
        "word", [*guide_names(), "black radish", "water lily"[6:], "canned", "onions", "raw", "heated", "turned"]
    )
    def test_no_folder_of_produce_is_taken_for_one(self, word: str) -> None:
        assert view_of(f"{word}/IMG_0001.jpg") == ""


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
            (b'["layers", "peelings"]', b'["inside"]', "views must be a list of some of"),
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
            (b'"every piece"', b'"some pieces"', "unit must be one of: every piece, a drawn sample"),
            (b'"Take thin ones."', b'7', "before must be a text"),
            (b'"Take thin ones."', b'"a\\u001b[2Jb"', "before must be on one line, without control characters"),
            (b'"Take thin ones."', b'"a\\nb"', "before must be on one line"),
            (b'"Take thin ones."', b'"a\\u202eb"', "before must be on one line"),
            (b'["layers", "peelings"]', b'["layers", "layers"]', "views must name each once"),
            (b'["layers", "peelings"]', b'["peelings"]', "faces asks for 'layers', which views does not name"),
            (b'faces = ["layers"]', b'faces = ["water"]', "faces must be a list of some of: underside"),
            (b'faces = ["layers"]', b'faces = ["card"]', "faces must be a list of some of: underside"),
            (b'faces = ["layers"]', b'faces = []', "faces and sample are both empty"),
            (b"sample = []", b'sample = ["card"]', "sample must be a list of some of: blank"),
            (b"sample = []", b'sample = ["cloth"]', "sample asks for 'cloth', which views does not name"),
            (b"sample = []", b'sample = ["layers"]', "'layers' is asked both of each piece (faces) and of the sample"),
            (b'shot = "peelings"', b'shot = "blank"', "removes, shot must be one of: underside"),
            (b'shot = "peelings"\n', b"", "removes, these keys are missing or not known: shot"),
            (b"instead_of = []", b'instead_of = ["opened"]', "removes.instead_of names 'opened', which is none of its faces"),
            (b"what = []", b'what = "the root"', "removes, what must be a list of texts"),
            (b"[removes]", b"[[removes]]", "removes must be a table"),
            (b'"Leek"', b"[" * 3000 + b"]" * 3000, "not TOML"),
            (b"[0.8, 1.2]", b"[0.8, 1" + b"0" * 5000 + b"]", "not TOML"),
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

    @pytest.mark.parametrize("key", sorted(set(KEYS) - {"px_per_mm"}))
    def test_each_key_is_asked_for(self, key: str) -> None:
        values = least()
        del values[key]
        with pytest.raises(GuideError, match=f"'leek' lacks: {key}"):
            parse_guide("leek", as_toml(values))

    @pytest.mark.parametrize("key", sorted(KEYS))
    def test_each_key_is_held_to_what_it_may_be(self, key: str) -> None:
        with pytest.raises(GuideError, match=f"In the guide 'leek', {key}"):
            parse_guide("leek", as_toml(least(**{key: 7})))

    def test_windows_editors_are_understood(self) -> None:
        assert parse_guide("leek", b"\xef\xbb\xbf" + LEAST.replace(b"\n", b"\r\n")).title == "Leek"

    def test_any_change_is_another_digest(self) -> None:
        digests = {parse_guide("leek", LEAST + more).digest for more in (b"", b"\n", b"# a word\n", b"kinds = []\n")}
        assert len(digests) == 4
        assert parse_guide("other", LEAST).digest == parse_guide("leek", LEAST).digest

    def test_a_view_may_be_asked_to_be_finer(self) -> None:
        needs = parse_guide("leek", as_toml(least(px_per_mm={"layers": 33}))).px_per_mm
        assert (needs["layers"], needs["peelings"]) == (33.0, VIEWS["peelings"].px_per_mm)

    def test_an_unknown_name_is_told_what_there_is(self) -> None:
        with pytest.raises(GuideError, match="broccoli"):
            load_guide("leek")


@pytest.fixture(scope="module")
def florets() -> Shot:
    drawn = draw(tidy("broccoli", 21, width_px=1000, height_px=750))
    return Shot(drawn.pixels, "0" * 64, "florets.jpg")


_SEEN: dict[tuple[int, str], tuple[Shot, Seen]] = {}
"""With the shot, so that no other comes to have its id."""


def looked_at(shot: Shot, guide: Guide | None, cut: Cut) -> Inspection:
    """What is seen of a shot; each is looked at once for each guide, which takes most of the time, and listed for each cut."""
    key, ranker = (id(shot), guide.name if guide else ""), shipped_ranker()
    assert cut.min_score > 0, "at 0 more is looked at"
    if key not in _SEEN:
        _SEEN[key] = shot, observe(shot, AT_20, guide, ranker)
    return inspect_seen(_SEEN[key][1], shot, AT_20, guide, ranker, cut)


def listed(seen: Inspection) -> set[tuple[float, float, float]]:
    return {(c.measures.x_px, c.measures.y_px, c.score) for c in seen.candidates}


@pytest.mark.slow
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
