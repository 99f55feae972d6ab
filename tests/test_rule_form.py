"""The form of a house rule: what is typed becomes the rule it says, a rule shown in the form is the same rule again, a file stays whole."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from hypothesis import assume, given, settings
from made_rules import DRAFT, drafts
from test_house import forbidden

from cli.lots.per import Per
from cli.lots.rule import HouseRule, Scan, signed
from cli.lots.rule_file import example_rule, read_rule, rule_text
from cli.review.answers import AnswerError
from cli.review.form_fields import Reader, Typed
from cli.review.rule_form import FILE, FORMS, MOST_STEPS, SIGNED, WRITTEN, rule_text_of, typed_of_rule
from cli.review.words import catalogue

EXAMPLE = example_rule()
"""The invented rule of Quillmere House."""
TYPED = typed_of_rule(EXAMPLE).values


def read(typed: Any, form: str = WRITTEN, rule: HouseRule | None = None) -> str:
    return rule_text_of(
        Reader(form, Typed({k: [v] if isinstance(v, str) else v for k, v in typed.items()}), catalogue()), rule
    )


def refusal(typed: Any, form: str = WRITTEN, rule: HouseRule | None = None) -> str:
    with pytest.raises(AnswerError) as refused:
        read(typed, form, rule)
    said = str(refused.value)
    assert said.endswith(".")
    assert forbidden(said) == []
    return said


class TestWritten:
    def test_the_example_shown_in_the_form_is_the_same_rule(self) -> None:
        again = read_rule(read(TYPED).encode())
        assert again == replace(EXAMPLE, signature=None)
        assert again.digest == EXAMPLE.digest

    def test_by_hand(self) -> None:
        # What a person reads off the invented page of Quillmere House.
        assert TYPED["authority"] == ("Kitchen Table of Quillmere House (invented)",)
        assert (TYPED["from_date"], TYPED["until_date"]) == (("2026-01-01",), ("2035-12-31",))
        assert TYPED["bodies"] == ("colony", "part_with_head", "whole")
        assert [TYPED[f"{name}_2"][0] for name in ("low", "high", "then")] == ["1", "2", "wash_and_check_again"]
        assert TYPED["high_4"] == ("",)
        assert "low_5" not in TYPED
        assert TYPED["most_rechecks"] == ("2",)

    @given(drafts())
    @settings(deadline=None)
    def test_any_rule_shown_in_the_form_is_the_same_again(self, rule: HouseRule) -> None:
        names = (rule.authority, rule.when_to_stop, *rule.produce, *rule.counting.kinds)
        # A line of a form has no spaces round it.
        assume(all(name == name.strip() for name in (*names, *(step.action for step in rule.steps))))
        length = rule.counting.from_length_mm
        assume(length is None or round(length, 9) == length)
        assert read_rule(read(typed_of_rule(rule).values).encode()) == rule

    def test_as_a_browser_ends_lines(self) -> None:
        crlf = {name: [each.replace("\n", "\r\n") for each in said] for name, said in TYPED.items()}
        assert read(crlf) == read(TYPED)

    def test_numbers_with_a_comma_and_names_one_a_line(self) -> None:
        rule = read_rule(
            read(TYPED | {"from_length_mm": "0,5", "produce": " leek \n\n בצל\n", "kinds": "aphid"}).encode()
        )
        assert rule.counting.from_length_mm == 0.5
        assert rule.produce == ("leek", "בצל")
        assert rule.counting.kinds == ("aphid",)

    def test_per_100_g_later_lines_begin_above(self) -> None:
        typed = TYPED | {"per": "hundred_grams", "low_2": "0", "low_3": "2", "low_4": "7", "high_2": "2", "high_3": "7"}
        rule = read_rule(read(typed).encode())
        assert rule.per == Per.HUNDRED_GRAMS
        assert [step.above for step in rule.steps] == [False, True, True, True]

    @pytest.mark.parametrize(
        ("wrong", "says"),
        [
            ({"authority": ""}, "authority"),
            ({"text": " "}, "text"),
            ({"until_date": "2025-01-01"}, "until_date"),
            ({"from_date": ""}, "from_date"),
            ({"from_date": "1.1.2026"}, "from_date"),
            ({"bodies": []}, "bodies"),
            ({"bodies": ["wing"]}, "wing"),
            ({"basis": []}, "basis"),
            ({"seen": ""}, "seen"),
            ({"colonies": ""}, "colonies"),
            ({"per": ""}, "per"),
            ({"from_length_mm": "half"}, "From what length on"),
            ({"from_length_mm": "0"}, "from_length_mm"),
            ({"low_1": "one"}, "one is no number"),
            ({"low_1": ""}, "Line 1"),
            ({"then_2": ""}, "Line 2"),
            ({"action_3": ""}, "action"),
            ({"low_3": "5"}, "leave out"),
            ({"high_1": "1"}, "both hold for 1"),
            ({"most_rechecks": "0"}, "most_rechecks is 0"),
            ({"most_rechecks": "-1"}, "no whole number"),
            ({"when_to_stop": ""}, "when_to_stop"),
        ],
    )
    def test_what_can_not_be_meant(self, wrong: dict[str, Any], says: str) -> None:
        assert says in refusal(TYPED | wrong)

    def test_nothing_at_all(self) -> None:
        refusal({})


class TestFile:
    def test_stays_whole(self) -> None:
        text = f"# A line of the authority's own.\n{rule_text(EXAMPLE)}\n\n"
        assert read({"pasted": text}, FILE) == text
        assert read({"upload": text, "pasted": ""}, FILE) == text
        assert read({"pasted": text.replace("\n", "\r\n")}, FILE) == text

    def test_a_changed_one_is_kept_too_and_is_no_longer_what_was_signed(self) -> None:
        text = read({"pasted": rule_text(EXAMPLE).replace("most_rechecks = 2", "most_rechecks = 3")}, FILE)
        rule = read_rule(text.encode())
        assert rule.signature is not None
        assert rule.signature.digest != rule.digest

    @pytest.mark.parametrize("text", ["", "  \n", "no rule", "x = 1", 'format = "speckwise house rule"'])
    def test_what_is_none(self, text: str) -> None:
        refusal({"pasted": text}, FILE)


GOOD = {"name": "Odile Farrow-Quill (invented)", "on": "2026-01-05", "scan": "page.png", "scan_sha256": "5A" * 32}


class TestSigned:
    def test_is_the_rule_with_its_signature(self) -> None:
        rule = read_rule(read(GOOD, SIGNED, DRAFT).encode())
        by, on = "Odile Farrow-Quill (invented)", date(2026, 1, 5)
        assert rule == signed(DRAFT, by, on, Scan("page.png", "5a" * 32))

    @pytest.mark.parametrize(
        "wrong",
        [
            {"name": ""},
            {"on": ""},
            {"on": "5.1.2026"},
            {"on": "2099-01-01"},
            {"scan": ""},
            {"scan": "folder/page.png"},
            {"scan_sha256": "5a"},
            {"scan_sha256": ""},
        ],
    )
    def test_what_can_not_be_meant(self, wrong: dict[str, str]) -> None:
        refusal(GOOD | wrong, SIGNED, DRAFT)

    def test_where_there_is_no_rule(self) -> None:
        assert "no rule on this lot" in refusal(GOOD, SIGNED)


def test_a_form_that_there_is_none_of() -> None:
    assert "no such form" in refusal({}, "decision")


def test_as_many_lines_as_a_rule_may_have_steps() -> None:
    assert {field.row for field in FORMS[WRITTEN]} == {0, *range(1, MOST_STEPS + 1)}
