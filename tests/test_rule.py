"""A house rule as values: what is refused, which days it takes, and that its digest is of all that is signed."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import pytest
from hypothesis import given, settings
from made_rules import DAY, DRAFT, FIRST, GO_ON, HOLD, LAST, RULE, SCAN, STOP, WASH, counting, draft, drafts, rule

from cli.lots import rule_words
from cli.lots.per import Per
from cli.lots.rule import Colonies, Counting, HouseRule, Scan, Seen, Signature, signed, signed_values
from cli.lots.rule_steps import Then
from cli.lots.rule_text import RuleError, folded, listed, named, quoted
from cli.review.answers import BASES, BODIES

TURNS = ["\u202a", "\u202b", "\u202c", "\u202d", "\u202e"]


class TestWordsOfTheAuthority:
    @pytest.mark.parametrize("field", ["authority", "text", "when_to_stop"])
    @pytest.mark.parametrize("empty", ["", " ", "\u200f", "\u00a0"])
    def test_nothing_to_see_is_refused_by_the_key(self, field: str, empty: str) -> None:
        with pytest.raises(RuleError, match=f"{field} is empty"):
            draft(**{field: empty})

    @pytest.mark.parametrize(("field", "longest"), [("authority", 120), ("text", 20_000), ("when_to_stop", 160)])
    def test_length_up_to_a_limit(self, field: str, longest: int) -> None:
        assert getattr(draft(**{field: "ב" * longest}), field) == "ב" * longest
        with pytest.raises(RuleError, match=f"{field} has {longest + 1} characters: write it in {longest} or less"):
            draft(**{field: "ב" * (longest + 1)})

    @pytest.mark.parametrize("bad", ["\x00", "\x1b", "\x7f", "\x85", "\r", "\ud800", "\u2028", "\u2029", *TURNS])
    @pytest.mark.parametrize("field", ["authority", "text"])
    def test_control_characters_are_refused(self, field: str, bad: str) -> None:
        with pytest.raises(RuleError, match=f"{field} holds a control character"):
            draft(**{field: f"a{bad}b"})

    def test_a_name_is_one_line_and_a_text_may_be_several(self) -> None:
        assert replace(DRAFT, text="one\n\ttwo").text == "one\n\ttwo"
        with pytest.raises(RuleError, match="authority holds a control character"):
            replace(DRAFT, authority="one\ntwo")

    @pytest.mark.parametrize("bad", ["\u2067א", "א\u2069", "\u2069א\u2066", "\u2068a\nb\u2069"])
    def test_a_direction_that_does_not_end_with_its_line_is_refused(self, bad: str) -> None:
        # UAX 9: an isolate that is not closed takes in all that follows in its paragraph.
        with pytest.raises(RuleError, match="text holds a mark of direction that is not closed"):
            replace(DRAFT, text=bad)
        assert replace(DRAFT, text="a \u2067א \u2066b\u2069\u2069\u200e c").text

    @pytest.mark.parametrize("field", ["authority", "text", "when_to_stop"])
    def test_what_is_no_text_is_refused(self, field: str) -> None:
        with pytest.raises(RuleError, match=f"{field} must be a text, not 5"):
            draft(**{field: 5})

    def test_hebrew_keeps_to_itself_inside_a_sentence_and_latin_is_left_as_it_is(self) -> None:
        # Isolates as in the Unicode Bidirectional Algorithm (UAX 9), 2.4: first strong isolate and its end.
        assert named("Reed") == "Reed"
        assert named("דוגמה") == "\u2068דוגמה\u2069"
        assert quoted("דוגמה 3") == '"\u2068דוגמה 3\u2069"'

    def test_names_in_a_list(self) -> None:
        assert [listed(["a"]), listed(["a", "b"]), listed(("a", "b", "c"))] == ["a", "a and b", "a, b and c"]

    def test_texts_are_compared_without_what_does_not_show(self) -> None:
        assert folded(" E\u0301T\u00c9  \u200fx") == folded("\u00e9t\u00e9 X")
        assert folded("ete") != folded("\u00e9t\u00e9")


class TestDays:
    def test_one_day_is_enough(self) -> None:
        assert replace(DRAFT, from_date=DAY, until_date=DAY).until_date == DAY

    def test_the_last_day_before_the_first_is_refused(self) -> None:
        with pytest.raises(RuleError, match="until_date, 2026-02-28, comes before from_date, 2026-03-01"):
            replace(DRAFT, until_date=date(2026, 2, 28))

    @pytest.mark.parametrize("field", ["from_date", "until_date"])
    @pytest.mark.parametrize(
        "value", [datetime(2026, 3, 15), datetime(2026, 3, 15, tzinfo=UTC), "2026-03-15", None, 20]
    )
    def test_what_is_no_day_is_refused(self, field: str, value: Any) -> None:
        with pytest.raises(RuleError, match=f"{field} must be a date such as 2026-03-31, without a time of day"):
            draft(**{field: value})

    def test_signed_on_the_last_day_at_the_latest(self) -> None:
        assert signed(DRAFT, "R. Reed", LAST, SCAN).signature
        with pytest.raises(RuleError, match="signed on 2026-04-01, after its last day, 2026-03-31"):
            signed(DRAFT, "R. Reed", date(2026, 4, 1), SCAN)


class TestWhatCounts:
    def test_bodies_and_ways_of_looking_are_those_of_answers(self) -> None:
        assert set(rule_words.BODIES) == set(BODIES)
        assert set(rule_words.BASES) == set(BASES)
        assert set(rule_words.THENS) == set(Then)

    @pytest.mark.parametrize("field", ["bodies", "basis"])
    def test_unknown_and_empty_are_refused(self, field: str) -> None:
        with pytest.raises(RuleError, match=f"{field} does not know 'wing'; there are: "):
            counting(**{field: frozenset({"wing"})})
        with pytest.raises(RuleError, match=f"{field} is empty, so that nothing would count"):
            counting(**{field: frozenset()})

    @pytest.mark.parametrize("length", [0, -1, 100.1, float("nan"), float("inf"), "2", True])
    def test_a_length_that_is_none_is_refused(self, length: Any) -> None:
        with pytest.raises(RuleError, match="from_length_mm must be a number above 0, up to 100, not"):
            replace(DRAFT.counting, from_length_mm=length)

    @pytest.mark.parametrize("field", ["seen", "colonies"])
    def test_other_words_are_refused(self, field: str) -> None:
        with pytest.raises(RuleError, match="seen is one of: unaided, any; colonies one of: least, most, both"):
            counting(**{field: "never"})

    def test_kinds_and_produce_are_named_once(self) -> None:
        for twice in (("aphid", " APHID"), ("é", "e\u0301")):
            with pytest.raises(RuleError, match="kinds holds a name twice"):
                replace(DRAFT.counting, kinds=twice)
            with pytest.raises(RuleError, match="produce holds a name twice"):
                replace(DRAFT, produce=twice)

    @pytest.mark.parametrize(
        ("names", "says"),
        [
            (tuple(f"n{at}" for at in range(13)), "produce holds 13 names: 12 at most"),
            (("",), "A name in produce is empty"),
            (("All",), "produce holds the name all: for all of them"),
            (("x" * 81,), "A name in produce has 81 characters"),
        ],
    )
    def test_names_that_can_not_be_meant(self, names: tuple[str, ...], says: str) -> None:
        with pytest.raises(RuleError, match=says):
            replace(DRAFT, produce=names)

    def test_produce_goes_by_its_name_and_none_named_is_all(self) -> None:
        some = replace(DRAFT, produce=("Leek", "בצל"))
        assert [some.is_for(each) for each in ("leek", " LEEK ", "בצל", "onion", "leeks", "")] == [True] * 3 + [
            False
        ] * 3
        assert DRAFT.is_for("onion")
        assert DRAFT.is_for("")


class TestReChecks:
    def test_another_check_needs_a_limit_and_words_for_it(self) -> None:
        with pytest.raises(RuleError, match="Step 2 asks for another check, and most_rechecks is 0"):
            replace(DRAFT, most_rechecks=0)

    @pytest.mark.parametrize("changes", [{"when_to_stop": ""}, {"most_rechecks": 0}])
    def test_a_limit_without_another_check_is_refused(self, changes: dict[str, Any]) -> None:
        steps = (GO_ON, replace(WASH, then=Then.HOLD), HOLD, STOP)
        assert replace(DRAFT, steps=steps, most_rechecks=0, when_to_stop="").most_rechecks == 0
        with pytest.raises(RuleError, match="No step asks for another check"):
            replace(DRAFT, steps=steps, **changes)

    @pytest.mark.parametrize("most", [-1, 21, 1.0, True, "2", None])
    def test_how_many_is_a_whole_number(self, most: Any) -> None:
        with pytest.raises(RuleError, match="most_rechecks must be a whole number from 0 to 20"):
            replace(DRAFT, most_rechecks=most)


class TestSignature:
    @pytest.mark.parametrize(
        ("name", "says"),
        [
            ("", "scan is empty"),
            ("a/b.png", "without folders"),
            ("a\\b.png", "without folders"),
            ("a\nb", "control character"),
        ],
    )
    def test_the_scan_is_a_file(self, name: str, says: str) -> None:
        with pytest.raises(RuleError, match=says):
            Scan(name, "5a" * 32)

    @pytest.mark.parametrize("digest", ["", "5a" * 31, "5A" * 32, "5a" * 32 + "\n", "zz" * 32])
    def test_digests_have_64_small_hexadecimal_digits(self, digest: str) -> None:
        with pytest.raises(RuleError, match="scan_sha256 has 64 hexadecimal digits"):
            Scan("a.png", digest)
        with pytest.raises(RuleError, match="digest has 64 hexadecimal digits"):
            Signature("R. Reed", FIRST, SCAN, digest)

    def test_a_name_and_a_day(self) -> None:
        with pytest.raises(RuleError, match="by is empty"):
            signed(DRAFT, " ", FIRST, SCAN)
        with pytest.raises(RuleError, match="on must be a date"):
            signed(DRAFT, "R. Reed", datetime(2026, 3, 1), SCAN)

    def test_title_says_whose_of_which_day_and_which_version(self) -> None:
        assert rule().title == f"the rule of Mudlark Table (of 2026-02-20, version {DRAFT.digest[:6]})"
        assert DRAFT.title == f"the rule of Mudlark Table (not signed, version {DRAFT.digest[:6]})"


CHANGES: list[dict[str, Any]] = [
    {"authority": "Mudlark table"},
    {"text": "As agreed at our table. "},
    {"counting": replace(DRAFT.counting, bodies=frozenset({"whole"}))},
    {"counting": replace(DRAFT.counting, basis=frozenset({"loupe"}))},
    {"counting": replace(DRAFT.counting, kinds=("aphid",))},
    {"counting": replace(DRAFT.counting, from_length_mm=2)},
    {"counting": replace(DRAFT.counting, seen=Seen.UNAIDED)},
    {"counting": replace(DRAFT.counting, colonies=Colonies.LEAST)},
    {"steps": (GO_ON, replace(WASH, high=5), replace(HOLD, low=6), STOP)},
    {"steps": (GO_ON, WASH, replace(HOLD, action="call us "), STOP)},
    {"steps": (GO_ON, WASH, HOLD, replace(STOP, then=Then.HOLD))},
    {"per": Per.SAMPLE},
    {"from_date": date(2026, 3, 2)},
    {"until_date": date(2026, 3, 30)},
    {"produce": ("leek",)},
    {"most_rechecks": 3},
    {"when_to_stop": "back to the field."},
]


class TestDigest:
    @pytest.mark.parametrize("change", CHANGES, ids=lambda change: next(iter(change)))
    def test_each_thing_that_is_signed_changes_it(self, change: dict[str, Any]) -> None:
        assert draft(**change).digest != DRAFT.digest

    def test_no_field_is_left_out_of_what_is_signed(self) -> None:
        changed = {name for change in CHANGES for name in change}
        assert changed == set(HouseRule.__dataclass_fields__) - {"signature"}

    def test_a_signature_does_not_change_it(self) -> None:
        assert signed(RULE, "S. Sedge", LAST, SCAN).digest == DRAFT.digest == RULE.digest

    def test_how_a_number_is_typed_does_not_change_it(self) -> None:
        of = replace(DRAFT, counting=replace(DRAFT.counting, from_length_mm=2))
        assert of.digest == replace(of, counting=replace(of.counting, from_length_mm=2.0)).digest

    def test_it_stays_the_same_from_one_release_to_the_next(self) -> None:
        # What was signed on paper bears it. Computed once from these values; nothing outside says it.
        assert DRAFT.digest == "80ec63726a7377fbb06e4ac90073b219eeddc6ad0f4de35c8ee8228be204ada1"

    @settings(max_examples=50, deadline=None)
    @given(drafts())
    def test_reading_what_is_signed_changes_nothing(self, some: HouseRule) -> None:
        before = (some.text, some.digest)
        signed_values(some)["rule"] = {}
        assert (some.text, replace(some).digest) == before
        assert some.version == some.digest[:6]


def test_what_counts_may_be_everything() -> None:
    assert Counting(frozenset(BODIES), frozenset(BASES)).kinds == ()
