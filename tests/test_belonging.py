"""What a shot belongs to: which source is asked first, and what becomes of two that say different things."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.slip.view import SlipText
from cli.batch.belonging import BELONGS, IN_TABLES, belonging_of, code_says, folders_say, view_named
from cli.batch.sources import Claims

WORDS = st.sampled_from(["", "A", "B", "a", " A "])
TEXTS = st.dictionaries(st.sampled_from(list(BELONGS)), WORDS)


class TestSources:
    def test_each_gives_what_the_others_do_not_say(self) -> None:
        code = code_says(SlipText("L7", "2", "broccoli", ""))
        claims = Claims({"supplier": "Quillmere", "checker": "Ada"}, {"lot": "L7", "sample": "2", "view": "water"})
        found = belonging_of("L7/2/water/a.jpg", "r", claims, code)
        assert found.belonging.lot == "L7"
        assert found.belonging.sample == "2"
        assert found.belonging.view == "water"
        assert found.facts == {"produce": "broccoli", "supplier": "Quillmere", "checker": "Ada"}
        assert found.said == ()

    def test_the_name_is_asked_for_the_view_only_where_nothing_else_says_it(self) -> None:
        assert belonging_of("x/blank 2.jpg", "r").belonging.view == "blank"
        assert belonging_of("x/blank 2.jpg", "r", Claims({"view": "water"})).belonging.view == "water"
        torn = belonging_of("x/blank 2.jpg", "r", Claims({"view": "water"}, {"view": "cloth"}))
        assert torn.belonging.view == ""

    def test_a_slip_without_a_code_says_nothing(self) -> None:
        assert code_says(None) == {}
        assert code_says(SlipText("", " ")) == {}


class TestContradictions:
    def test_leave_the_field_empty_and_say_both(self) -> None:
        found = belonging_of(
            "a.jpg", "r", Claims({"lot": "B", "sample": "1"}, {"lot": "C"}), {"lot": "A", "sample": "1"}
        )
        assert found.belonging.lot == ""
        assert found.belonging.sample == "1"
        assert found.said == ("lot: the code on the slip says A, manifest.csv says B, the folders say C.",)

    @pytest.mark.parametrize(
        ("field", "one", "other", "agree"),
        [
            ("lot", "A", " A ", True),
            ("lot", "A", "a", False),
            ("piece", "1", "01", False),
            ("produce", "Broccoli", "broccoli", True),
            ("lot", "e\u0301", "\u00e9", True),
        ],
    )
    def test_outer_spaces_never_count_and_case_only_of_names(
        self, field: str, one: str, other: str, agree: bool
    ) -> None:
        assert (belonging_of("a.jpg", "r", Claims({field: other}), {field: one}).said == ()) is agree

    @given(TEXTS, TEXTS, TEXTS)
    def test_a_field_is_known_or_contradicted_or_unsaid(
        self, code: dict[str, str], manifest: dict[str, str], folders: dict[str, str]
    ) -> None:
        found = belonging_of("1.jpg", "r", Claims(manifest, folders), code)
        known = {name: getattr(found.belonging, name) for name in IN_TABLES} | dict(found.facts)
        torn = {sentence.split(":")[0] for sentence in found.said}
        for name in BELONGS:
            said = {texts[name].strip() for texts in (code, manifest, folders) if texts.get(name, "").strip()}
            assert (name in torn) <= (len(said) > 1)
            assert known.get(name, "") in (said if said and name not in torn else {""})
        assert all(found.facts.values())


class TestFolders:
    @pytest.mark.parametrize(
        ("below", "said"),
        [
            ("L7/2/water/a.jpg", {"lot": "L7", "sample": "2", "view": "water"}),
            ("2026/L7/2/Blanks/a.jpg", {"lot": "L7", "sample": "2", "view": "blank"}),
            ("2/water/a.jpg", {}),
            ("L7/2/water/more/a.jpg", {}),
            ("L7/2/in water/a.jpg", {}),
            ("water/a.jpg", {}),
            ("water", {}),
            ("L7/2/water.jpg", {}),
        ],
    )
    def test_speak_only_as_lot_sample_view(self, below: str, said: dict[str, str]) -> None:
        assert folders_say(below) == said

    def test_views_are_words_of_their_own(self) -> None:
        assert view_named(" Cloths ") == "cloth"
        assert view_named("waterfall") == view_named("") == ""


class TestDigest:
    def test_is_another_whenever_something_else_is_said(self) -> None:
        said = [Claims(), Claims({"lot": "A"}), Claims({"lot": "B"}), Claims({}, {"lot": "A"}), Claims({"sample": "A"})]
        assert len({each.digest for each in said}) == len(said)
        assert Claims().digest == ""
        assert Claims({"lot": "A", "view": "water"}).digest == Claims({"view": "water", "lot": "A"}).digest
