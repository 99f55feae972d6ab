"""The page of a house rule that is signed by hand: all of the rule, on one side of A4, its words unchanged."""

from __future__ import annotations

import io
import textwrap
from dataclasses import replace
from importlib import resources

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_rules import DRAFT, RULE, TEXTS, rules
from reportlab.lib.units import mm
from reportlab.lib.utils import simpleSplit
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from test_house import forbidden

from cli.lots.per import Per
from cli.lots.rule import Counting, HouseRule, Scan, signed
from cli.lots.rule_file import example_rule
from cli.lots.rule_page import GOES_ON, LINE_CHARACTERS, PAGE_LINES, Block, FormPage, form_page
from cli.lots.rule_steps import Step, Then
from cli.lots.rule_text import quoted
from cli.review.answers import BASES, BODIES

LONGEST = signed(
    HouseRule(
        authority="w" * 120,
        text="word " * 4000,
        counting=Counting(
            frozenset(BODIES), frozenset(BASES), tuple(f"{at:02}" + "k" * 78 for at in range(12)), from_length_mm=12.345
        ),
        steps=tuple(
            Step(
                at * 1000.125,
                None if at == 5 else (at + 1) * 1000.125,
                "a " * 79 + "a",
                Then.WASH_AND_CHECK,
                above=at > 0,
            )
            for at in range(6)
        ),
        per=Per.HUNDRED_GRAMS,
        from_date=DRAFT.from_date,
        until_date=DRAFT.until_date,
        produce=tuple(f"{at:02}" + "p" * 78 for at in range(12)),
        most_rechecks=20,
        when_to_stop="s " * 79 + "s",
    ),
    "n" * 80,
    DRAFT.from_date,
    Scan("f" * 196 + ".png", "5a" * 32),
)
"""As much as a rule may hold."""


def lines(blocks: tuple[Block, ...]) -> int:
    return sum(block.lines for block in blocks)


def words_of(page: FormPage, head: str) -> str:
    """All that stands under a head, on the page and beyond."""
    parts = [block.text for block in (*page.page, *page.continuation) if block.head == head]
    return "".join(parts)


class TestOnePage:
    @pytest.mark.parametrize(
        "rule", [None, DRAFT, RULE, example_rule(), LONGEST], ids=["form", "draft", "rule", "example", "most"]
    )
    def test_holds_it(self, rule: HouseRule | None) -> None:
        assert lines(form_page(rule).page) <= PAGE_LINES

    @settings(max_examples=60, deadline=None)
    @given(rules(), TEXTS, st.integers(1, 400))
    def test_holds_any_rule_and_the_words_are_all_there(self, rule: HouseRule, text: str, times: int) -> None:
        long = replace(rule, text=(text * times)[:20_000].rstrip("\n") + "x")
        page = form_page(long)
        assert lines(page.page) <= PAGE_LINES
        at = next(count for count, block in enumerate(page.page) if block.head == "In the authority's own words")
        beyond = [block.text for block in page.continuation if block.head == "In the authority's own words"]
        assert page.page[at + 1].text + "".join(beyond) == long.text
        assert (page.page[at + 2].text == GOES_ON) == bool(beyond)

    @pytest.mark.parametrize("rule", [None, example_rule()], ids=["form", "example"])
    def test_in_letters_of_11_points_it_is_no_longer_than_said(self, rule: HouseRule | None) -> None:
        # reportlab breaks the lines, in the font that travels with the program: 180 mm wide, 267 mm high on A4 with margins of 15 mm.
        face = resources.files("vision").joinpath("fonts", "DejaVuSans.ttf").read_bytes()
        pdfmetrics.registerFont(TTFont("Page", io.BytesIO(face)))
        counts = []
        for block in form_page(rule).page:
            paragraphs = f"{block.head}: {block.text}".strip().split("\n")
            broken = sum(max(1, len(simpleSplit(each, "Page", 11, 180 * mm))) for each in paragraphs)
            counts.append(broken + block.to_write)
        assert sum(counts) * 14.5 <= 267 * mm

    def test_what_does_not_fit_goes_on_and_the_page_says_so(self) -> None:
        page = form_page(replace(DRAFT, text="word " * 4000))
        assert GOES_ON in [block.text for block in page.page]
        assert [block.head for block in page.continuation] == ["In the authority's own words"]
        assert page.continuation[0].text.startswith("word ")

    def test_a_word_longer_than_a_line_is_broken_at_its_end(self) -> None:
        page = form_page(replace(DRAFT, text="x" * 20_000))
        shown = next(block.text for block in page.page if block.text.startswith("xx"))
        assert len(shown) > LINE_CHARACTERS
        assert len(shown) % LINE_CHARACTERS == 0
        assert len(shown) + len(page.continuation[0].text) == 20_000

    def test_what_fits_has_no_second_sheet(self) -> None:
        for rule in (None, DRAFT, RULE, example_rule()):
            page = form_page(rule)
            assert page.continuation == ()
            assert GOES_ON not in [block.text for block in page.page]


class TestWhatStandsOnIt:
    def test_all_of_the_rule(self) -> None:
        rule = replace(
            DRAFT, produce=("leek", "chard"), counting=replace(DRAFT.counting, kinds=("aphid",), from_length_mm=2)
        )
        page = form_page(rule)
        assert words_of(page, "Version") == f"{rule.version} (SHA-256 {rule.digest})"
        said = {block.head: block.text for block in page.page}
        assert said["Authority"] == "Mudlark Table"
        assert said["Produce"] == "leek and chard"
        assert said["In force"] == "from 2026-03-01 until 2026-03-31, both days included"
        assert said["What counts"] == "a whole animal, a part with its head and a colony"
        assert said["Kinds"] == "aphid"
        assert said["Size"] == "from 2 mm of length on"
        assert said["Looked at"] == "in the hand or with a loupe or on the picture"
        assert said["Numbers are of"] == "animals in all that one check of the lot looked at"
        assert said["Step 2, at 2 to 4"] == '"rinse, look again" (wash and check again)'
        assert said["Step 4, at 10 and more"] == '"send it back" (stop)'
        assert said["Re-checks"] == '2 at most, and then: "back to the field"'
        assert rule.text in [block.text for block in page.page]
        assert [block.head for block in page.page[-3:]] == ["Name", "Signature", "Day"]
        assert all(block.to_write for block in page.page[-3:])

    def test_everything_even_where_it_is_longest(self) -> None:
        page = form_page(LONGEST)
        assert words_of(page, "Authority") == LONGEST.authority
        assert words_of(page, "Produce").count("p" * 78) == words_of(page, "Kinds").count("k" * 78) == 12
        steps = [block for block in (*page.page, *page.continuation) if block.head.startswith("Step ")]
        assert "".join(block.text for block in steps).count("a") >= 6 * 80
        assert words_of(page, "Re-checks").endswith(quoted(LONGEST.when_to_stop))

    def test_who_signed_it_where_it_was_signed(self) -> None:
        assert words_of(form_page(RULE), "Signature on file") == (
            f"R. Reed, 2026-02-20, version {RULE.version}, scan page.png"
        )
        assert words_of(form_page(DRAFT), "Signature on file") == ""

    def test_right_to_left_text_is_kept_as_it_is(self) -> None:
        text = 'נספרים חיות שלמות.\n\n"שתיים" או יותר: לשטוף.'
        page = form_page(replace(DRAFT, text=text, authority="שולחן הבדיקה"))
        assert text in [block.text for block in page.page]
        assert words_of(page, "Authority") == "שולחן הבדיקה"

    def test_an_empty_form_asks_for_all_that_a_rule_holds(self) -> None:
        asked = " ".join(f"{block.head} {block.text}" for block in form_page(None).page)
        known = ["Authority", "Produce", "In force", "Kinds", "Size", "Steps", "Re-checks", "own words", "Signature"]
        for each in (
            *known,
            "a part with its head",
            "with a loupe",
            "100 g",
            "discard the piece",
            "the most said of it",
        ):
            assert each in asked

    @pytest.mark.parametrize("rule", [None, RULE, example_rule()], ids=["form", "rule", "example"])
    def test_no_forbidden_word_of_ours(self, rule: HouseRule | None) -> None:
        assert [block for block in form_page(rule).page if forbidden(f"{block.head} {block.text}")] == []


class TestLines:
    @pytest.mark.parametrize(
        ("text", "many"),
        [
            ("", 1),
            ("x" * LINE_CHARACTERS, 1),
            ("x" * (LINE_CHARACTERS + 1), 2),
            ("x" * (LINE_CHARACTERS - 1) + " y", 2),
            ("x " * (LINE_CHARACTERS // 2) + "x", 2),
            ("a\nb\n\nc", 4),
            ("a\n", 1),
            ("蟲" * (LINE_CHARACTERS // 2 + 1), 2),
            ("e\u0301" * LINE_CHARACTERS, 1),
        ],
    )
    def test_of_a_text(self, text: str, many: int) -> None:
        assert Block("", text).lines == many

    @settings(max_examples=60, deadline=None)
    @given(st.text("ab \n", max_size=600))
    def test_as_python_s_own_wrapping_counts_them(self, text: str) -> None:
        # textwrap of Python's library, where neither runs of spaces nor an empty last line are in play.
        plain = "\n".join(" ".join(line.split()) for line in text.split("\n")).rstrip("\n") + "x"
        counts = [max(1, len(textwrap.wrap(line, LINE_CHARACTERS))) for line in plain.split("\n")]
        assert Block("", plain).lines == sum(counts)
