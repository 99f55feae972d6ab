"""What people enter on a lot: any entry comes back from plain fields as it was, and what can't be meant is a sentence."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_answers import JSON, RUN, SHOT
from made_entries import ANY, BY_KIND, VALUES, entered
from test_house import forbidden

from cli.batch.belonging import BELONGS
from cli.lots.decision import decision_sentence
from cli.lots.entries import (
    ENTRIES,
    LONGEST_NAME,
    LONGEST_RULE,
    Decided,
    DetectionGiven,
    Entered,
    FoundByHand,
    LotOf,
    RuleGiven,
    Sampled,
    Value,
    plain,
    value_of,
)
from cli.lots.rule import LONGEST_TEXT
from cli.review.answers import AnswerError

PLAIN: dict[str, dict[str, Any]] = {entered(value).what: plain(value) for value in VALUES}
TIME = "2026-03-04T15:00:00+01:00"


class TestComesBack:
    @given(ANY)
    @settings(max_examples=200, deadline=None)
    def test_any_from_json(self, value: Value) -> None:
        what = entered(value).what
        assert value_of(what, json.loads(json.dumps(plain(value)))) == value

    def test_every_kind_is_among_them(self) -> None:
        assert set(PLAIN) == set(BY_KIND) == set(ENTRIES)

    def test_what_may_be_left_out_is_as_it_begins(self) -> None:
        assert value_of("sampled", {"sample": "1"}) == Sampled("1")
        assert value_of("lot_of", {"pieces": None}) == LotOf(None)
        assert value_of("detection", {"assumed": 1}) == DetectionGiven(assumed=1.0)
        found = {"kind": "", "body": "", "least": 1, "most": 1}
        assert value_of("late_entry", PLAIN["late_entry"] | {"found": [found]}).found == (FoundByHand("", "", 1, 1),)

    def test_a_kind_with_a_name_here_is_written_one_way(self) -> None:
        found = {"kind": "APHID", "body": "whole", "least": 2, "most": 2}
        late = value_of("late_entry", PLAIN["late_entry"] | {"found": [found, found | {"kind": "Red Spider"}]})
        assert [each.kind for each in late.found] == ["aphid", "Red Spider"]

    def test_a_rule_is_kept_whole(self) -> None:
        for text in ("", "  x = 1\r\n\n\ty = 2 \n"):
            assert value_of("rule", {"text": text}) == RuleGiven(text)
        # The authority's own words at their longest, each letter escaped in the file.
        assert len(RuleGiven("\\\\" * LONGEST_TEXT).text) < LONGEST_RULE

    @given(BY_KIND["decision"])
    def test_a_decision_can_be_shown_as_one(self, value: Decided) -> None:
        said = decision_sentence(value.as_decision())
        assert value.text in said
        assert value.decided_by in said
        assert ("It was entered late." in said) is value.late


WRONG: list[tuple[str, dict[str, Any]]] = [
    *(("correction", {"field": each}) for each in ("", "lots", "shot_sha256", None, 1)),
    ("correction", {"shot_sha256": "0" * 63}),
    ("correction", {"shot_sha256": "Z" * 64}),
    ("correction", {"value": "x" * (LONGEST_NAME + 1)}),
    ("correction", {"value": "a\nb"}),
    ("sampled", {"pieces": 0}),
    ("sampled", {"pieces": 1.5}),
    ("sampled", {"pieces": "12"}),
    ("sampled", {"pieces": True}),
    ("sampled", {"pieces": 10**7}),
    ("sampled", {"grams": 0}),
    ("sampled", {"grams": float("nan")}),
    ("sampled", {"grams": float("inf")}),
    ("sampled", {"grams": None}),
    ("sampled", {"grams_are": ""}),
    ("sampled", {"grams_are": "dry"}),
    ("sampled", {"check": 0}),
    ("sampled", {"check": 1}),
    ("sampled", {"look": "first"}),
    ("sampled", {"look": ""}),
    ("sampled", {"on": "4.3.2026"}),
    ("sampled", {"on": "2026-02-30"}),
    ("sampled", {"on": "2026-03-04T10:00"}),
    ("lot_of", {"pieces": 0}),
    ("lot_of", {"pieces": -3}),
    ("removed", {"what": ""}),
    ("removed", {"what": " \n "}),
    ("removed", {"what": "x" * 2001}),
    ("removed", {"what": "a\x00b"}),
    ("removed", {"what": "a\x0cb"}),
    ("removed", {"what": "a\u2028b\x85"}),
    ("removed", {"whole": "yes"}),
    ("link", {"specks": []}),
    ("link", {"specks": [{"shot_sha256": SHOT, "run": RUN, "candidate": 1}] * 2}),
    ("link", {"specks": [{"shot_sha256": SHOT, "run": RUN, "candidate": -1}]}),
    ("link", {"specks": [{"shot_sha256": SHOT, "run": RUN}]}),
    ("link", {"specks": [SHOT]}),
    ("link", {"specks": SHOT}),
    ("rule", {"text": "x" * (LONGEST_RULE + 1)}),
    ("rule", {"text": "a\x00"}),
    ("rule", {"text": "a\ud800"}),
    ("detection", {"assumed": 0.5}),
    ("detection", {"seen": 21}),
    ("detection", {"seen": None}),
    ("detection", {"put_in": None}),
    ("detection", {"put_in": 0, "seen": 0}),
    ("detection", {"seen": None, "put_in": None}),
    *(("detection", {"seen": None, "put_in": None, "assumed": share}) for share in (0, -0.1, 1.01, float("nan"), "1")),
    ("decision", {"text": ""}),
    ("decision", {"text": "a\u2028b"}),
    ("decision", {"text": "\u2067a"}),
    ("decision", {"decided_by": ""}),
    ("decision", {"decided_by": "\u200b"}),
    ("decision", {"decided_by": "x" * 81}),
    ("decision", {"at": "2026-03-04"}),
    ("decision", {"at": "2026-03-04T15:00:00"}),
    ("decision", {"at": "yesterday"}),
    ("decision", {"at": ""}),
    ("decision", {"late": 1}),
    ("late_entry", {"pieces": None}),
    ("late_entry", {"pieces": 0}),
    ("late_entry", {"checker": " "}),
    ("late_entry", {"at": "2026-03-03T21:10:00"}),
    ("late_entry", {"check": 0}),
    ("late_entry", {"note": "x" * 2001}),
    ("late_entry", {"found": None}),
    ("late_entry", {"found": [{"kind": "aphid", "body": "whole", "least": 1, "most": 2}]}),
    ("late_entry", {"found": [{"kind": "aphid", "body": "colony", "least": 5, "most": 2}]}),
    ("late_entry", {"found": [{"kind": "aphid", "body": "wing", "least": 1, "most": 1}]}),
    ("late_entry", {"found": [{"kind": "aphid", "body": "whole", "least": 0, "most": 0}]}),
    ("late_entry", {"found": [{"kind": "x" * 81, "body": "whole", "least": 1, "most": 1}]}),
]


class TestRefused:
    @pytest.mark.parametrize(("what", "wrong"), WRONG)
    def test_what_can_not_be_meant_with_a_sentence(self, what: str, wrong: dict[str, Any]) -> None:
        assert value_of(what, PLAIN[what])
        with pytest.raises(AnswerError) as refused:
            value_of(what, PLAIN[what] | wrong)
        said = str(refused.value)
        assert said.endswith(".")
        assert len(said) < 300
        assert forbidden(said) == []

    @pytest.mark.parametrize("what", sorted(ENTRIES))
    def test_a_field_too_many_or_too_few(self, what: str) -> None:
        with pytest.raises(AnswerError, match="has no 'weather'"):
            value_of(what, PLAIN[what] | {"weather": "fine"})
        if what not in ("detection",):
            with pytest.raises(AnswerError, match="needs"):
                value_of(what, {})

    @pytest.mark.parametrize("what", ["", "rules", "Sampled", "x" * 500])
    def test_a_kind_that_there_is_none_of(self, what: str) -> None:
        with pytest.raises(AnswerError, match="There is no entry called"):
            value_of(what, {})

    @given(st.sampled_from(sorted(ENTRIES)), st.data())
    @settings(max_examples=200, deadline=None)
    def test_whatever_stands_there_is_an_entry_or_a_sentence(self, what: str, data: st.DataObject) -> None:
        name = data.draw(st.sampled_from(sorted(PLAIN[what])))
        said, value = "An entry.", value_of(what, PLAIN[what])
        try:
            value = value_of(what, PLAIN[what] | {name: data.draw(JSON)})
        except AnswerError as error:
            said = str(error)
        assert said.endswith(".")
        assert value_of(what, json.loads(json.dumps(plain(value)))) == value

    @pytest.mark.parametrize(
        "odd",
        [{"by": ""}, {"by": " \u200b"}, {"by": "x" * 81}, {"lot": "x" * 201}, {"lot": "a\n"}, {"token": "x" * 81}],
    )
    def test_an_entry_without_a_name_or_with_a_line_too_long(self, odd: dict[str, str]) -> None:
        whole = Entered("1", "Ida", LotOf(3), "t")
        with pytest.raises(AnswerError):
            replace(whole, **odd)


def test_what_belongs_is_named_once() -> None:
    assert len(set(BELONGS)) == len(BELONGS)
