"""The pages of lots in a browser: the main path by keyboard alone, no fault that axe-core knows, narrow, right-to-left, in print."""

from __future__ import annotations

import math
import re
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from opened_desk import Opened, Screen, served_here
from scored_folder import write_folder
from test_review_pages import SHOTS, faults_of
from test_rule_page import LONGEST

from cli.lots.entries import Entered, RuleGiven
from cli.lots.rule_file import example_rule, rule_text
from cli.review.store import Store, sqlite_url

pytestmark = pytest.mark.slow

LOT = "L-17"
WIDE = {"width": 1280, "height": 900}


def open_form(page: Any, what: str) -> None:
    """Opens a form by the keyboard; the focus is then on its first field."""
    page.focus(f"#form-{what} > summary")
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")


def fill_in(page: Any, *texts: str) -> None:
    """Types into one field after the other; '' leaves one as it is."""
    for text in texts:
        if text:
            page.keyboard.type(text)
        page.keyboard.press("Tab")


def test_the_main_path_by_keyboard(browser: Any, opened: Opened, folder: Path) -> None:
    context = browser.new_context(viewport=WIDE, bypass_csp=True, locale="en-GB")
    screen = Screen(context, opened.supervisor)
    page = screen.page
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.wait_for_url("**/lots")
    assert faults_of(page) == []
    page.focus(".lot a")
    page.keyboard.press("Enter")
    page.wait_for_selector("#form-sampled")
    assert "The lot is held until a person enters the decision." in page.inner_text("main")

    # A number that is none: the page says so beside the form, with the focus there and everything still in it.
    open_form(page, "sampled")
    fill_in(page, "1", "a dozen", "340,5", "dr", "")
    page.focus("#sampled-by")
    page.keyboard.type("Ida")
    page.keyboard.press("Enter")
    page.wait_for_selector("#error-sampled")
    assert page.evaluate("document.activeElement.id") == "error-sampled"
    assert "a dozen is no whole number" in page.inner_text("#error-sampled")
    assert faults_of(page) == []
    page.fill("#sampled-pieces", "12")
    page.focus("#sampled-by")
    page.keyboard.press("Enter")
    page.wait_for_selector("text=Kept as entry 1.")

    open_form(page, "removed")
    fill_in(page, "1", "3", "outer leaves peeled")
    page.keyboard.press("Space")
    page.keyboard.press("Tab")
    # Who enters is known from the form before.
    assert page.input_value("#removed-by") == "Ida"
    page.keyboard.press("Enter")
    page.wait_for_selector("text=Kept as entry 2.")

    page.focus("a:has-text('Give, change or sign the rule')")
    page.keyboard.press("Enter")
    page.wait_for_selector("#form-file")
    open_form(page, "file")
    page.keyboard.insert_text(rule_text(example_rule()))
    page.focus("#file-by")
    page.keyboard.type("Lea")
    page.keyboard.press("Enter")
    page.wait_for_selector("text=Kept as entry 3.")
    for summary in page.locator("summary").all():
        summary.click()
    assert faults_of(page) == []
    page.focus("nav a:has-text('Back to the lot')")
    page.keyboard.press("Enter")

    page.wait_for_selector("#form-decision")
    open_form(page, "decision")
    fill_in(page, "Back to the gardener", "Odile Farrow-Quill (invented)")
    page.focus("#decision-by")
    page.keyboard.type("Lea")
    page.keyboard.press("Enter")
    page.wait_for_selector("text=Kept as entry 4.")
    assert re.search(
        r'Decided by Odile Farrow-Quill \(invented\), .*: "Back to the gardener"\.', page.inner_text("main")
    )
    for summary in page.locator("summary").all():
        summary.click()
    assert faults_of(page) == []
    with sqlite3.connect(folder / "decisions.sqlite") as record:
        kept = record.execute('SELECT number, lot, "by", what FROM entries ORDER BY number').fetchall()
    assert kept == [
        (n, LOT, by, what)
        for n, by, what in ((1, "Ida", "sampled"), (2, "Ida", "removed"), (3, "Lea", "rule"), (4, "Lea", "decision"))
    ]
    # One page was answered 400 on purpose, and the browser says so.
    assert all("400" in fault for fault in screen.faults)
    assert len(screen.faults) == 1
    assert all(url.startswith(opened.address) for url in screen.asked)
    context.close()


def test_works_without_scripts(browser: Any, opened: Opened, folder: Path) -> None:
    context = browser.new_context(viewport=WIDE, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{opened.address}lots/one?lot={LOT}")
    page.click("#form-lot_of > summary")
    page.fill("#lot_of-pieces", "40")
    page.fill("#lot_of-by", "Ida")
    page.click("#form-lot_of button")
    assert "Kept as entry 1." in page.inner_text("main")
    context.close()


@pytest.fixture
def right_to_left(tmp_path: Path) -> Iterator[str]:
    """A desk in a language that is written from right to left, with a signed rule on its lot."""
    from review_client import KEY

    from cli.review.words import catalogue

    folder = write_folder(tmp_path / "scored", SHOTS)
    words = {key: f"\u05d0\u05d1 {text}" for key, text in catalogue().items()} | {"language": "he", "direction": "rtl"}
    store = Store(sqlite_url(folder / "decisions.sqlite"))
    store.add_entry(Entered(LOT, "Lea", RuleGiven(rule_text(example_rule())), "t"))
    store.add_entry(Entered("longest", "Lea", RuleGiven(rule_text(LONGEST)), "u"))
    with served_here(folder, store, words, KEY) as address:
        yield f"{address}supervisor/{KEY}"


def test_narrow_right_to_left_and_large(browser: Any, right_to_left: str) -> None:
    context = browser.new_context(bypass_csp=True)
    page = context.new_page()
    for path in ("", "/lots", f"/lots/one?lot={LOT}", f"/lots/rule?lot={LOT}", f"/lots/rule/page?lot={LOT}"):
        for width in (360, 1280):
            page.set_viewport_size({"width": width, "height": 800})
            page.goto(right_to_left + path)
            for summary in page.locator("summary").all():
                summary.click()
            assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), (path, width)
            if "page" not in path:
                assert page.evaluate("getComputedStyle(document.querySelector('main')).direction") == "rtl"
                # Capitals of 16 minutes of arc or more (ISO 9241-303, from memory), 0.72 of a letter's size, a pixel of 0.26 mm, at 60 cm.
                sizes = page.evaluate(
                    "[...document.querySelectorAll('main p, main label, main dt, main dd, main input')]"
                    ".map(e => parseFloat(getComputedStyle(e).fontSize))"
                )
                assert math.degrees(0.72 * 0.26 * min(sizes) / 600) * 60 >= 16
    # The one that is on paper: the others are looked at on the main path.
    assert faults_of(page) == []
    # Every colour of these pages is a grey, but for the one that goes with words of warning.
    page.goto(f"{right_to_left}/lots/one?lot={LOT}")
    colours = page.evaluate(
        "[...document.querySelectorAll('*')].map(e => getComputedStyle(e))"
        ".flatMap(style => [style.color, style.backgroundColor])"
    )
    for colour in set(colours):
        red, green, blue = map(int, re.findall(r"\d+", colour)[:3])
        assert max(red, green, blue) - min(red, green, blue) <= 8, colour
    context.close()


# Height and width of the paper less the margins of rule_page.css.
@pytest.mark.parametrize(("paper", "wide_mm", "high_mm"), [("a4", 180, 267), ("letter", 181.9, 251.4)])
def test_the_longest_rule_there_can_be_breaks_off_at_the_foot_of_its_page(
    browser: Any, right_to_left: str, paper: str, wide_mm: float, high_mm: float
) -> None:
    context = browser.new_context(viewport={"width": round(wide_mm * 96 / 25.4), "height": 900})
    page = context.new_page()
    page.emulate_media(media="print")
    page.goto(f"{right_to_left}/lots/rule/page?lot=longest&paper={paper}")
    sheets = page.evaluate("[...document.querySelectorAll('.sheet')].map(e => e.getBoundingClientRect().height)")
    assert len(sheets) == 2
    assert sheets[0] * 25.4 / 96 <= high_mm
    context.close()


@pytest.mark.parametrize(("paper", "size_pt"), [("a4", (595, 842)), ("letter", (612, 792))])
@pytest.mark.parametrize("lot", [LOT, "none"])
def test_the_page_to_be_signed_is_one_side(
    browser: Any, right_to_left: str, paper: str, size_pt: tuple[int, int], lot: str
) -> None:
    context = browser.new_context()
    page = context.new_page()
    page.goto(f"{right_to_left}/lots/rule/page?lot={lot}&paper={paper}")
    printed = page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", printed)) == 1
    box = [float(number) for number in re.findall(rb"/MediaBox\s*\[([^\]]*)\]", printed)[0].split()]
    assert box[2:] == pytest.approx(size_pt, abs=1.5)
    page.emulate_media(media="print")
    assert page.locator("nav").is_hidden()
    colours = page.evaluate("[...document.querySelectorAll('body, body *')].map(e => getComputedStyle(e).color)")
    assert set(colours) == {"rgb(0, 0, 0)"}
    context.close()
