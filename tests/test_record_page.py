"""A lot's record as a page: every section, what it may not say, what may be read of it, and that it stands alone. All invented."""

from __future__ import annotations

import html
import random
import re
from dataclasses import replace
from datetime import date
from importlib import resources

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lot_folder import KITCHEN, LOT, People, Taken, people_on
from made_entries import ANY
from made_rules import rule
from test_house import forbidden

from cli.lots.blocks import Document, Grid, Section
from cli.lots.compared import linked_of, totals_of
from cli.lots.entries import (
    Correction,
    Decided,
    DetectionGiven,
    FoundByHand,
    LateEntry,
    Link,
    LotOf,
    Removed,
    RuleGiven,
    Sampled,
)
from cli.lots.gather import lots_of
from cli.lots.record import CAUTIONS, Sources, Wanted, record_of
from cli.lots.record_blank import blank_record
from cli.lots.record_counts import counts_of
from cli.lots.record_page import basis_of, record_html, what_differs
from cli.lots.rule_file import rule_text
from vision.errors import CallError
from vision.guides import guide_called
from vision.words import WHO_DECIDES

WANTED = Wanted(date(2026, 3, 5))
HEBREW, MARKUP = "כרובית 12 (מטבח)", '<script>alert("x")</script>&"\''
SOURCES = Sources("r0", "0.1.0", lambda name: guide_called(name, {}), totals_of, linked_of, {"answers": "ab" * 32})
SECTIONS = [
    *("gaps", "identity", "tells", "photographs", "insects", "counts-1", "rule", "decision", "entries", "versions"),
    "signatures",
]


def busy(lot: str = LOT, name: str = "leaf 1.jpg", checker: str = "Ida") -> People:
    """A lot with something of everything."""
    shots = (
        Taken("water 1.jpg", 3, lot=lot),
        Taken(name, 2, piece="1", view="underside", lot=lot),
        Taken("blank.jpg", 1, sample="", view="blank", lot=lot),
        Taken("no scale.jpg", 1, lot=lot, px_per_mm=None),
    )
    people = people_on(*shots)
    people.answer_all(by=checker)
    people.insect(people.flags(name)[0], by=checker, note=f"seen by {checker}")
    people.insect(people.flags("water 1.jpg")[1], by=checker, kind="thrips", body="skin", unaided="no")
    people.insect(people.flags("no scale.jpg")[0], by=checker, body="colony", least=30, most=50)
    people.enter(
        Correction(people.shot(name).sha256, "supplier", "Brook Farm (invented)"),
        Sampled("1", 6, 250.0, "raw", on="2026-03-04"),
        Removed("1", "3", "outer leaves cut off"),
        DetectionGiven(assumed=0.5),
        RuleGiven(rule_text(rule())),
        Link((people.flags(name)[0],)),
        LateEntry(
            "1", 2, (FoundByHand("aphid", "whole", 2, 2, "by hand"),), "2026-03-04T07:00:00+01:00", checker, "by lamp"
        ),
        Decided("Back to the gardener", KITCHEN, "2026-03-04T15:00:00+01:00"),
        lot=lot,
        by=checker,
    )
    return people


def page_of(people: People, wanted: Wanted = WANTED, lot: str = LOT) -> str:
    document = replace(record_of(people.lot(lot), wanted, SOURCES), basis={"run": "r0", "lot": lot})
    return record_html(document, lambda cut: b"\xff\xd8picture")


def text_of(page: str) -> str:
    """What a person reads."""
    bare = re.sub(r"<(style|script)\b.*?</\1>", " ", page, flags=re.DOTALL)
    return html.unescape(re.sub(r"<[^>]*>", " ", bare))


class TestWhatItHolds:
    def test_every_section_in_its_order(self) -> None:
        page = page_of(busy())
        assert re.findall(r'<section id="([^"]+)"', page) == SECTIONS
        assert re.findall(r'aria-labelledby="of-([^"]+)">\n<h2', page) == SECTIONS

    def test_what_was_not_looked_at_comes_first_and_who_decides_is_said(self) -> None:
        text = text_of(page_of(busy()))
        assert text.index("What was not looked at") < text.index("The lot") < text.index("What was confirmed")
        for caution in CAUTIONS:
            assert caution in text
        assert WHO_DECIDES in text

    def test_the_sum_of_what_is_on_it_is_what_was_counted(self) -> None:
        people = busy()
        page, lot = page_of(people), people.lot()
        (counted,) = counts_of(lot, totals_of(lot))
        assert page.count("<img ") == len(lot.insects) == 3
        rows = [re.findall(r"<td[^>]*>([^<]*)</td>", row) for row in re.findall(r"<tr>.*?</tr>", page)]
        (total,) = [row[4] for row in rows if len(row) == 7 and row[3] == "all kinds"]
        assert total == f"{counted.all[0]} to {counted.all[1]}"
        kinds = [row[4] for row in rows if len(row) == 7 and row[0] == ""]
        assert sum(int(cell.split(" to ")[-1]) for cell in kinds) == counted.all[1] == 53
        # Flags of its photographs, each once.
        flags = [int(row[7]) for row in rows if len(row) == 9]
        assert sum(flags) == len(lot.marks) == 7

    def test_without_anything_it_is_no_finding_of_none(self) -> None:
        people = people_on(Taken("w.jpg", 0))
        assert text_of(page_of(people)).count("That is not a finding of none.") >= 2

    def test_insects_on_blanks_are_told_beside_the_lots(self) -> None:
        people = busy()
        people.insect(people.flags("blank.jpg")[0])
        assert "1 insect on blank shots, before any produce: not the lot's." in text_of(page_of(people))

    def test_an_animal_with_several_marks_has_one_name(self) -> None:
        people = busy()
        people.enter(Link((people.flags("leaf 1.jpg")[0], people.flags("no scale.jpg")[0])))
        assert text_of(page_of(people)).count("one animal with 1 other mark (animal A)") == 2

    def test_each_cut_is_at_one_scale_or_says_that_there_is_none(self) -> None:
        document = record_of(busy().lot(), WANTED, SOURCES)
        cuts = next(section for section in document.sections if section.name == "insects").cuts
        # 6 mm at 20 px/mm, held within a picture of 240 x 160 px.
        assert [(cut.wide_px, cut.high_px, cut.wide_mm) for cut in cuts] == [
            (120, 120, 6.0),
            (120, 120, 6.0),
            (19, 19, None),
        ]
        assert all(0 <= cut.left_px <= 240 - cut.wide_px and 0 <= cut.top_px <= 160 - cut.high_px for cut in cuts)
        page = page_of(busy())
        assert page.count('class="bar"') == 2
        assert page.count("The scale is not known.") == 1


class TestWhatItDoesNotSay:
    @pytest.mark.parametrize("supplier", [False, True])
    def test_no_forbidden_word(self, supplier: bool) -> None:
        for people in (busy(), people_on(Taken("w.jpg", 0))):
            assert forbidden(text_of(page_of(people, replace(WANTED, for_supplier=supplier)))) == []

    def test_the_empty_page_says_none_either(self) -> None:
        text = text_of(record_html(blank_record(), lambda cut: None))
        assert forbidden(text) == []
        assert "That is not a finding of none." in text

    def test_the_supplier_sees_no_staff_rate_rule_or_decision(self) -> None:
        page = page_of(busy(checker="Zebulon"), replace(WANTED, for_supplier=True))
        text = text_of(page)
        assert re.findall(r'<section id="([^"]+)"', page) == ["gaps", "identity", "insects", "counts", "versions"]
        for word in ("Zebulon", "95%", "per 100 g", "gardener", KITCHEN, "rule", "by lamp"):
            assert word not in text, word
        assert "Brook Farm (invented)" in text

    def test_what_stands_open_is_told_to_the_supplier_too(self) -> None:
        people = busy()
        people.answer(people.flags("water 1.jpg")[0], "look_again")
        text = text_of(page_of(people, replace(WANTED, for_supplier=True)))
        assert "Not complete: 2 things below stand open." in text
        assert "6 pieces looked at as entered, and photographs of 1" in text
        assert "1 flag that nobody has answered" in text


class TestOnlyText:
    def test_markup_in_names_is_text(self) -> None:
        people = busy(lot=MARKUP[:40], name=f"{MARKUP[8:20]}.jpg", checker=MARKUP[:30])
        page = page_of(people, lot=MARKUP[:40])
        assert page.count("<script") == page.count("</script") == 1
        assert html.escape(MARKUP[:40]).replace("&quot;", "&#34;").replace("&#x27;", "&#39;") in page
        assert basis_of(page) == {"run": "r0", "lot": MARKUP[:40]}

    def test_every_text_of_a_person_finds_its_own_direction(self) -> None:
        page = page_of(busy(lot=HEBREW, name="עלה.jpg", checker="אורית לוי"), lot=HEBREW)
        for name in (HEBREW, "עלה.jpg", "אורית לוי"):
            assert name in page
            for tag in re.findall(rf"<(\w+[^>]*)>[^<]*{re.escape(name)}", page):
                assert "dir=" in tag or tag == "title", tag
        assert "<td>" not in page

    def test_it_stands_alone(self) -> None:
        page = page_of(busy())
        assert all(at.startswith("data:") for at in re.findall(r'\b(?:src|href|action|srcset)="([^"]*)"', page))
        assert not re.search(r"@import|url\(", page)
        assert "http" not in page.replace("http-equiv", "")
        missing = record_html(record_of(busy().lot(), WANTED, SOURCES), lambda cut: None)
        # The name of SVG's namespace is an address that nobody fetches.
        assert re.findall(r"https?://[^'\"&]*", missing) == ["http://www.w3.org/2000/svg"] * 3

    def test_black_and_white_alone(self) -> None:
        css = resources.files("cli.lots").joinpath("templates", "record.css").read_text(encoding="utf-8")
        for colour in re.findall(r"#([0-9a-fA-F]{3,8})\b(?=[;\s,)])", css):
            parts = re.findall("." if len(colour) == 3 else "..", colour)
            assert len(set(parts)) == 1, colour
        assert not re.search(r"rgb|hsl|lab\(|green|red|blue|yellow|orange", css)

    @pytest.mark.parametrize(("paper", "size"), [("a4", "A4"), ("letter", "letter")])
    def test_paper(self, paper: str, size: str) -> None:
        assert f"@page {{ size: {size};" in record_html(blank_record(), lambda cut: None, paper)


class TestBasis:
    @pytest.mark.parametrize(
        "page",
        [
            *("", "<html></html>", '<script type="application/json" id="basis">[1]</script>'),
            '<script type="application/json" id="basis">{</script>',
            '<script type="application/json" id="basis">' + "[" * 100_000 + "</script>",
        ],
    )
    def test_of_what_is_no_record(self, page: str) -> None:
        with pytest.raises(CallError, match="no record of a lot"):
            basis_of(page)

    def test_what_differs(self) -> None:
        page = page_of(busy())
        assert what_differs(page, page) == ()
        assert what_differs(page, page.replace("aphid", "midge")) == ("insects", "counts-1", "entries")
        assert what_differs(page, page.replace("base64,", "base64,AAAA")) == ("pictures",)
        assert what_differs(page, page.replace("Not complete", "Complete").replace("Complete in", "Whole in")) == (
            "the rest of the page",
        )
        assert what_differs(page, re.sub(r'<section id="rule".*?</section>', "", page, flags=re.DOTALL)) == ("rule",)


class TestLevels:
    def test_they_stand_beside_the_last_checks_count(self) -> None:
        text = text_of(page_of(busy(), replace(WANTED, levels_of="broccoli")))
        assert "FDA may act on broccoli" in text
        assert "no clearance" in text

    def test_they_need_grams(self) -> None:
        with pytest.raises(CallError, match="per 100 g"):
            page_of(people_on(Taken("w.jpg")), replace(WANTED, levels_of="broccoli"))


@given(values=st.lists(ANY, max_size=6), hand=st.integers(0, 5))
@settings(max_examples=60, deadline=None)
def test_whatever_was_entered_gives_a_record(values: list[object], hand: int) -> None:
    people = busy()
    # As many as anybody writes down by hand: each is a find of its own.
    kept = [v for v in values if not isinstance(v, LateEntry) or all(f.most <= 500 for f in v.found)]
    people.enter(*kept, LotOf(hand + 1))  # type: ignore[arg-type]
    for lot in people.lots().values():
        document = record_of(lot, WANTED, SOURCES)
        page = record_html(replace(document, basis={"lot": lot.name}), lambda cut: None)
        assert basis_of(page) == {"lot": lot.name}
        assert {section.name for section in document.sections} >= {"gaps", "identity", "rule", "decision"}


@given(seed=st.integers(0, 10_000))
@settings(max_examples=15, deadline=None)
def test_answers_read_in_another_order_give_the_same_record(seed: int) -> None:
    people, shuffled = busy(), random.Random(seed)
    heard = people.heard
    mixed = replace(
        heard, **{n: shuffled.sample(list(getattr(heard, n)), len(getattr(heard, n))) for n in ("said", "entries")}
    )
    (lot,) = lots_of(people.shelf, mixed)
    assert record_of(lot, WANTED, SOURCES) == record_of(people.lot(), WANTED, SOURCES)


def test_a_grid_is_whole() -> None:
    with pytest.raises(ValueError, match="as many cells"):
        Grid(("a", "b"), (("1",),))
    assert Document("t", (), (Section("a", "A"),)).basis == {}
