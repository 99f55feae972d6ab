"""A house rule's file: read back the same, and refused by the key that is wrong."""

from __future__ import annotations

import copy
import tomllib
from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_rules import DRAFT, ODD, TEXTS, rule, rules
from test_house import forbidden

from cli.lots.rule import HouseRule
from cli.lots.rule_file import example_rule, read_rule, rule_of, rule_text
from cli.lots.rule_text import RuleError

FULL = rule(produce=("leek",), counting=replace(DRAFT.counting, kinds=("aphid",), from_length_mm=1.5))
VALUES = tomllib.loads(rule_text(FULL))
LACK = object()


def changed(value: Any, *keys: Any) -> dict[str, Any]:
    """The values of a full rule with one of them set, or taken out."""
    values = copy.deepcopy(VALUES)
    table: Any = values
    for key in keys[:-1]:
        table = table[key]
    if value is LACK:
        del table[keys[-1]]
    else:
        table[keys[-1]] = value
    return values


class TestRoundTrip:
    @settings(max_examples=50, deadline=None)
    @given(rules())
    def test_any_rule_is_read_back_the_same(self, any_rule: HouseRule) -> None:
        again = read_rule(rule_text(any_rule).encode("utf-8"))
        assert again == any_rule
        assert again.digest == any_rule.digest

    @settings(max_examples=50, deadline=None)
    @given(TEXTS)
    def test_words_are_kept_to_the_letter(self, text: str) -> None:
        assert read_rule(rule_text(replace(DRAFT, text=text)).encode("utf-8")).text == text

    @pytest.mark.parametrize("odd", ODD)
    def test_words_that_look_like_the_file_s_own(self, odd: str) -> None:
        for text in (f"{odd}a", f"a{odd}", f"\n{odd}a{odd}\n{odd}"):
            again = replace(DRAFT, text=text, authority=f"a{odd}", when_to_stop=f"{odd}a")
            assert read_rule(rule_text(again).encode("utf-8")) == again

    def test_as_windows_writes_it(self) -> None:
        data = rule_text(FULL).replace("\n", "\r\n").encode("utf-8-sig")
        assert read_rule(data).digest == FULL.digest

    def test_a_form_s_values_make_the_same_rule(self) -> None:
        values = changed("2026-03-01", "rule", "from_date") | {}
        values["rule"]["text"] = FULL.text + "\r\nmore"
        assert rule_of(values) == replace(FULL, text=FULL.text + "\nmore")

    def test_a_rule_without_re_checks_needs_no_chain(self) -> None:
        plain = replace(DRAFT, steps=(replace(DRAFT.steps[0], high=None),), most_rechecks=0, when_to_stop="")
        values = tomllib.loads(rule_text(plain))
        del values["chain"]
        assert rule_of(values) == plain

    def test_a_changed_word_is_read_but_no_longer_what_was_signed(self) -> None:
        signed = read_rule(rule_text(FULL).encode())
        assert signed.signature is not None
        assert signed.signature.digest == signed.digest
        other = read_rule(rule_text(FULL).replace("rinse, look again", "rinse").encode())
        assert other.signature is not None
        assert other.signature.digest == signed.digest != other.digest


class TestRefused:
    @pytest.mark.parametrize("data", [b"\xff", b"a = ", b"[rule", b"x = 1\nx = 2", b"n = " + b"9" * 5000])
    def test_what_is_no_toml(self, data: bytes) -> None:
        with pytest.raises(RuleError, match="The rule's file is not TOML in UTF-8: "):
            read_rule(data)

    def test_what_is_nested_without_end(self) -> None:
        with pytest.raises(RuleError, match="The rule's file is not TOML"):
            read_rule(b"a = " + b"[" * 100_000)

    @pytest.mark.parametrize(
        "keys",
        [
            *(("format",), ("format_version",), ("rule",), ("counts",), ("step",)),
            *(("rule", key) for key in ("authority", "produce", "from_date", "until_date", "text")),
            *(("counts", key) for key in ("bodies", "kinds", "seen", "basis", "colonies", "per")),
            *(("chain", "most_rechecks"), ("step", 0, "then"), ("step", 1, "action")),
            *(("signed", key) for key in ("by", "on", "scan", "scan_sha256", "digest")),
        ],
        ids=lambda keys: ".".join(map(str, keys)),
    )
    def test_a_key_that_is_missing(self, keys: tuple[Any, ...]) -> None:
        where = f"step {keys[1] + 1}" if len(keys) == 3 else keys[0]
        inside = f" in {where}" if len(keys) > 1 else ""
        with pytest.raises(RuleError, match=f"^The key '{keys[-1]}' is missing{inside}: write it in\\.$"):
            rule_of(changed(LACK, *keys))

    @pytest.mark.parametrize(
        "keys",
        [("x",), ("rule", "x"), ("counts", "x"), ("chain", "x"), ("step", 2, "x"), ("signed", "x")],
        ids=lambda keys: ".".join(map(str, keys)),
    )
    def test_a_key_that_is_not_known(self, keys: tuple[Any, ...]) -> None:
        where = "step 3" if len(keys) == 3 else keys[0]
        inside = f" in {where}" if len(keys) > 1 else ""
        with pytest.raises(RuleError, match=f"^There is no key 'x'{inside}; there are: "):
            rule_of(changed(1, *keys))

    @pytest.mark.parametrize(
        ("value", "keys", "says"),
        [
            (
                "a house rule",
                ("format",),
                "format is 'a house rule', not 'speckwise house rule': this is no house rule",
            ),
            (2, ("format_version",), "format_version is 2; this Speckwise reads 1"),
            (True, ("format_version",), "format_version is True"),
            (1, ("rule",), "rule must be a table of keys and values, not 1"),
            (5, ("rule", "authority"), "rule.authority must be a text, not 5"),
            (["a"], ("rule", "text"), r"rule.text must be a text, not \['a'\]"),
            ("leek", ("rule", "produce"), "rule.produce must be \"all\" or a list of one name or more, not 'leek'"),
            ([], ("rule", "produce"), 'rule.produce must be "all" or a list'),
            ([1], ("rule", "produce"), "rule.produce, entry 1 must be a text, not 1"),
            (
                datetime(2026, 3, 1, tzinfo=UTC),
                ("rule", "from_date"),
                "rule.from_date must be a date such as 2026-03-31",
            ),
            (datetime(2026, 3, 1), ("rule", "until_date"), "rule.until_date must be a date such as 2026-03-31"),
            ("20260301", ("rule", "from_date"), "rule.from_date must be a date such as"),
            ("2026-02-30", ("rule", "from_date"), "rule.from_date: there is no day 2026-02-30 in the calendar"),
            (["wing"], ("counts", "bodies"), "In counts: bodies does not know 'wing'"),
            (["egg", "egg"], ("counts", "bodies"), "counts.bodies holds a word twice"),
            ("whole", ("counts", "bodies"), "counts.bodies must be a list of texts"),
            (["smell"], ("counts", "basis"), "In counts: basis does not know 'smell'"),
            ("never", ("counts", "seen"), "counts.seen must be one of: unaided, any; not 'never'"),
            (["any"], ("counts", "seen"), "counts.seen must be one of"),
            ("mean", ("counts", "colonies"), "counts.colonies must be one of: least, most, both; not 'mean'"),
            ("kg", ("counts", "per"), "counts.per must be one of: piece, sample, 100 g, whole lot; not 'kg'"),
            ("2", ("counts", "from_length_mm"), "counts.from_length_mm must be a number, not '2'"),
            (True, ("counts", "from_length_mm"), "counts.from_length_mm must be a number"),
            (float("nan"), ("counts", "from_length_mm"), "In counts: from_length_mm must be a number above 0"),
            ("2", ("chain", "most_rechecks"), "chain.most_rechecks must be a whole number, not '2'"),
            (2.0, ("chain", "most_rechecks"), "chain.most_rechecks must be a whole number, not 2.0"),
            (99, ("chain", "most_rechecks"), "most_rechecks must be a whole number from 0 to 20, not 99"),
            ({}, ("step",), "step must be a list of steps, each under"),
            ([], ("step",), "A rule has 1 to 6 steps, not 0"),
            (7, ("step", 0), "step 1 must be a table"),
            ("0", ("step", 0, "from"), "step 1.from must be a number, not '0'"),
            (0, ("step", 0, "above"), "step 1 begins with either from, its smallest number, or above"),
            (LACK, ("step", 1, "from"), "step 2 begins with either from"),
            (float("inf"), ("step", 1, "to"), "In step 2: A step's numbers lie from 0 to 1000000"),
            ("", ("step", 2, "action"), "In step 3: action is empty"),
            (
                "release",
                ("step", 0, "then"),
                "step 1.then must be one of: wash_and_check_again, discard_piece, stop, hold, go_on",
            ),
            (5, ("step", 1, "to"), r"Step 2 \(2 to 5\) and step 3 \(5 to 9\) both hold for 5"),
            (3, ("step", 1, "to"), r"Step 2 \(2 to 3\) and step 3 \(5 to 9\) leave out 4"),
            ("a/b", ("signed", "scan"), "In signed: scan is the name of a file, without folders"),
            ("5A" * 32, ("signed", "scan_sha256"), "In signed: scan_sha256 has 64"),
            ("", ("signed", "by"), "In signed: by is empty"),
            ("abc", ("signed", "digest"), "In signed: digest has 64"),
            (date(2026, 4, 1), ("signed", "on"), "signed on 2026-04-01, after its last day"),
        ],
        ids=lambda value: ".".join(map(str, value)) if isinstance(value, tuple) else "",
    )
    def test_a_value_by_its_key(self, value: Any, keys: tuple[Any, ...], says: str) -> None:
        with pytest.raises(RuleError, match=says):
            rule_of(changed(value, *keys))

    @settings(max_examples=50, deadline=None)
    @given(st.sampled_from(["rule", "counts", "chain", "step", "signed"]), st.data())
    def test_whatever_stands_there_gives_a_rule_or_a_sentence(self, name: str, data: st.DataObject) -> None:
        anything = st.recursive(
            st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5) | st.dates() | st.datetimes(),
            lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
            max_leaves=4,
        )
        table = VALUES[name] if name != "step" else VALUES[name][1]
        key = data.draw(st.sampled_from(sorted(table)))
        keys = (name, key) if name != "step" else (name, 1, key)
        said = ["A rule."]
        try:
            rule_of(changed(data.draw(anything), *keys))
        except RuleError as error:
            said.append(str(error))
        assert said[-1].endswith(".")
        assert forbidden(said[-1]) == []


class TestExample:
    def test_it_says_that_it_is_invented_wherever_its_name_stands(self) -> None:
        example = example_rule()
        assert "invented" in example.authority
        assert "invented" in example.text
        assert example.signature is not None
        assert "invented" in example.signature.by

    def test_it_is_what_was_signed(self) -> None:
        example = example_rule()
        assert example.signature is not None
        assert example.signature.digest == example.digest

    def test_it_says_no_forbidden_word(self) -> None:
        assert forbidden(rule_text(example_rule())) == []
