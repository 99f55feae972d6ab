"""The review desk as people use it: by keyboard, by mouse, by touch; two at once; with the server killed in the middle."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

import pytest
from opened_desk import SHOTS, Opened, Screen, answers, desk_on, last_answers, on_to_flag, start_desk
from scored_folder import places

pytestmark = pytest.mark.slow

TARGET_PX = 18 / 25.4 * 96
"""18 mm in CSS pixels (CSS Values and Units 3: 96 px are 25.4 mm)."""


def test_a_whole_review_by_keyboard(screen: Screen, folder: Path) -> None:
    screen.begin("Ann")
    page = screen.page
    expected = {}
    for n in range(9):
        step = on_to_flag(screen)
        # What the tool thought comes after the answer.
        assert "resembled" not in page.inner_text("#question")
        key, answer = [("n", "not_insect"), ("l", "look_again"), ("i", "insect")][n % 3]
        screen.press(key)
        if key == "i":
            page.wait_for_selector("#insect-form:not([hidden])")
            screen.press("2")
            screen.press("Enter")
        sha256, candidate = step.split("/")
        expected[(sha256, int(candidate))] = answer
        if n < 8:
            screen.wait_for_step(step)
            told = "look again" if key == "l" else "it resembled"
            page.wait_for_function("told => document.getElementById('told-text').textContent.includes(told)", arg=told)
            # Whoever looks again looks without the tool's word once more.
            assert key != "l" or "resembled" not in page.inner_text("#told-text")
    page.wait_for_function("() => document.getElementById('where').textContent.includes('tray 3')")
    screen.wait_until_taken()
    assert "0 flagged. That is not a finding of none." in page.inner_text("#question-text")
    screen.press("Enter")
    page.wait_for_selector("#end:not([hidden]) td")
    screen.wait_until_kept()
    assert last_answers(folder) == expected
    assert {row[3] for row in answers(folder) if row[2] == "insect"} == {"thrips"}
    # Three of nine wait for another look; no number says more than it counts.
    assert "3 flags are open" in page.inner_text("#end-text")
    assert "may be served" in page.inner_text("#end")


def test_flags_come_in_picture_order(screen: Screen, folder: Path) -> None:
    screen.begin("Ann")
    seen = []
    for _ in range(5):
        step = on_to_flag(screen)
        seen.append(int(step.split("/")[1]))
        screen.press("ArrowRight")
        screen.wait_for_step(step)
    # Rows from the top, left to right: by hand from where the dots were drawn, in twelfths of the height.
    where = places(SHOTS[0])
    rows = sorted(range(5), key=lambda k: (where[k, 1] // (400 / 12), where[k, 0]))
    assert seen == [k + 1 for k in rows]
    assert answers(folder) == []


def test_a_review_by_mouse_and_undo(screen: Screen, folder: Path) -> None:
    screen.begin("Bo")
    page = screen.page
    page.click("#whole-next")
    first = on_to_flag(screen)
    page.click("#not-insect")
    second = screen.wait_for_step(first)
    page.click("#insect")
    page.click("#insect-form label:has-text('caterpillar')")
    page.click("#insect-form label:has-text('part with head')")
    page.fill("#note", "head <b>dark</b>")
    page.click("#insect-form button[type=submit]")
    screen.wait_for_step(second)
    page.click("#undo")
    page.wait_for_function("step => document.getElementById('desk').dataset.shown === step", arg=second)
    page.wait_for_function("() => document.getElementById('told-text').textContent.includes('not an insect')")
    screen.wait_until_kept()
    rows = [row[2:6] for row in answers(folder)]
    assert rows == [
        ("not_insect", "", "", "Bo"),
        ("insect", "caterpillar", "part_with_head", "Bo"),
        ("", "", "", "Bo"),
    ]


def test_undo_brings_back_the_answer_before(screen: Screen, folder: Path) -> None:
    screen.begin("Bo")
    step = on_to_flag(screen)
    screen.press("n")
    screen.wait_for_step(step)
    screen.press("ArrowLeft")
    screen.page.wait_for_function("step => document.getElementById('desk').dataset.shown === step", arg=step)
    screen.wait_until_taken()
    screen.press("l")
    screen.page.wait_for_function("step => document.getElementById('desk').dataset.shown !== step", arg=step)
    screen.press("u")
    screen.page.wait_for_function("() => document.getElementById('facts').textContent.includes('not an insect, by Bo')")
    screen.wait_until_kept()
    assert [row[2] for row in answers(folder)] == ["not_insect", "look_again", ""]
    screen.page.reload()
    screen.begin("Bo")
    assert screen.page.inner_text("#progress").endswith("1 of 9 answered")


def test_a_review_by_touch(browser: Any, opened: Opened, folder: Path) -> None:
    context = browser.new_context(viewport={"width": 412, "height": 915}, has_touch=True, is_mobile=True)
    screen = Screen(context, opened.address)
    page = screen.page
    page.wait_for_selector("#begin:enabled")
    page.tap("#start-form label:has-text('loupe')")
    page.tap("#name")
    page.fill("#name", "Cy")
    page.tap("#start-form button")
    page.wait_for_selector("#desk[data-shown]")
    screen.wait_until_taken()
    whole = screen.shown()
    page.tap("#whole-next")
    step = screen.wait_for_step(whole)
    for button in page.locator("button:visible").all():
        box = button.bounding_box()
        assert min(box["width"], box["height"]) >= TARGET_PX - 0.5, button.inner_text()
    # Nothing runs out of the narrow screen.
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    page.tap("#look-again")
    step = screen.wait_for_step(step)
    page.tap("#insect")
    page.tap("#insect-form label:has-text('aphid')")
    page.tap("#insect-form button[type=submit]")
    screen.wait_for_step(step)
    screen.wait_until_kept()
    assert [row[2:4] for row in answers(folder)] == [("look_again", ""), ("insect", "aphid")]
    assert screen.faults == []
    context.close()


def test_the_server_is_killed_in_the_middle(browser: Any, folder: Path) -> None:
    opened = start_desk(folder)
    context = browser.new_context()
    screen = Screen(context, opened.address)
    screen.begin("Ann")
    step = on_to_flag(screen)
    screen.press("n")
    step = screen.wait_for_step(step)
    screen.wait_until_kept()
    opened.kill()
    # The person goes on: answers wait in the page, and it says so.
    screen.press("l")
    step = screen.wait_for_step(step)
    screen.press("n")
    screen.page.wait_for_selector("#saving.waiting")
    assert "not kept yet" in screen.page.inner_text("#saving")
    with desk_on(folder, "--port", str(opened.port)):
        screen.wait_until_kept()
        assert [row[2] for row in answers(folder)] == ["not_insect", "look_again", "not_insect"]
        screen.page.reload()
        screen.begin("Ann")
        # One of the three waits for another look.
        assert screen.page.inner_text("#progress").endswith("2 of 9 answered")
    context.close()


def test_the_browser_is_closed_before_the_server_comes_back(browser: Any, folder: Path) -> None:
    opened = start_desk(folder)
    context = browser.new_context()
    screen = Screen(context, opened.address)
    screen.begin("Ann")
    step = on_to_flag(screen)
    opened.kill()
    screen.press("n")
    screen.page.wait_for_selector("#saving.waiting")
    screen.page.close()
    with desk_on(folder, "--port", str(opened.port)) as again:
        later = Screen(context, again.address)
        later.begin("Ann")
        later.wait_until_kept()
        assert [row[:3] for row in answers(folder)] == [(step.split("/")[0], int(step.split("/")[1]), "not_insect")]
    context.close()


def test_two_people_at_once(browser: Any, opened: Opened, folder: Path) -> None:
    contexts = [browser.new_context() for _ in range(2)]
    ann, bo = (Screen(context, opened.address) for context in contexts)
    ann.begin("Ann")
    bo.begin("Bo")
    step = on_to_flag(ann)
    ann.press("n")
    ann.wait_for_step(step)
    bo.page.wait_for_function("() => document.getElementById('progress').textContent.includes('1 of 9 answered')")
    assert on_to_flag(bo) == step
    assert "not an insect, by Ann" in bo.page.inner_text("#facts")
    bo.press("l")
    ann.page.keyboard.press("ArrowLeft")
    ann.page.wait_for_function("() => document.getElementById('facts').textContent.includes('look again, by Bo')")
    assert [(row[2], row[5]) for row in answers(folder)] == [("not_insect", "Ann"), ("look_again", "Bo")]
    for context in contexts:
        context.close()


def test_a_key_held_down_answers_once(screen: Screen, folder: Path) -> None:
    screen.begin("Ann")
    step = on_to_flag(screen)
    page = screen.page
    for _ in range(12):
        page.keyboard.down("n")
    page.keyboard.up("n")
    step = screen.wait_for_step(step)
    page.focus("#not-insect")
    for _ in range(12):
        page.keyboard.down("Enter")
    page.keyboard.up("Enter")
    screen.wait_for_step(step)
    screen.wait_until_kept()
    assert len(answers(folder)) == 2


def test_nothing_is_answered_before_its_picture_is_there(browser: Any, opened: Opened, folder: Path) -> None:
    context = browser.new_context()
    held: list[Any] = []
    context.route("**/part/**", lambda route: held.append(route))
    screen = Screen(context, opened.address)
    page = screen.page
    page.wait_for_selector("#begin:enabled")
    page.check("#start-form input[value='picture']")
    page.fill("#name", "Ann")
    page.keyboard.press("Enter")
    page.wait_for_selector("#desk:not([hidden])")
    for key in ("Enter", "n", "l", "i", "Enter"):
        page.keyboard.press(key)
    page.wait_for_timeout(300)
    assert page.is_disabled("#insect")
    with sqlite3.connect(folder / "decisions.sqlite") as record:
        assert record.execute("SELECT count(*) FROM answers").fetchone() == (0,)
        assert record.execute("SELECT count(*) FROM looks").fetchone() == (0,)
    context.close()


def test_a_refused_answer_comes_back_with_what_was_typed(screen: Screen, folder: Path) -> None:
    screen.begin("Ann")
    step = on_to_flag(screen)
    page = screen.page
    screen.press("i")
    page.fill("#note", "seen \u202e twice")
    page.click("#keep")
    page.wait_for_selector("#insect-error:not([hidden])")
    page.wait_for_function("step => document.getElementById('desk').dataset.shown === step", arg=step)
    assert "control character" in page.inner_text("#insect-error")
    screen.wait_until_taken()
    page.fill("#note", "seen twice")
    page.click("#keep")
    screen.wait_until_kept()
    assert [row[2] for row in answers(folder)] == ["insect"]
    # The browser itself reports the refusal.
    assert screen.faults.pop().startswith("Failed to load resource")


def test_a_replaced_picture_is_said_and_not_answered(screen: Screen, folder: Path) -> None:
    picture = next((folder / "pictures").glob("tray 1*"))
    picture.write_bytes(next((folder / "pictures").glob("tray 2*")).read_bytes())
    screen.begin("Ann")
    page = screen.page
    page.wait_for_function("() => document.querySelector('#far .said').textContent.includes('not the one')")
    screen.press("ArrowRight")
    page.wait_for_function("() => document.getElementById('insect').disabled")
    screen.press("n")
    screen.wait_until_kept()
    assert answers(folder) == []
    # The browser itself reports the pictures that did not come.
    screen.faults.clear()


def test_overview_and_filters(screen: Screen, folder: Path) -> None:
    screen.begin("Ann")
    step = on_to_flag(screen)
    screen.press("n")
    screen.wait_for_step(step)
    page = screen.page
    screen.press("o")
    assert page.locator("#row-list article").count() == 3
    assert page.locator("#row-list .chips button").count() == 9
    assert page.locator("#row-list .chips button.not_insect").count() == 1
    page.check("input[name=open]")
    assert page.locator("#row-list .chips button").count() == 8
    page.select_option("select[name=shot]", index=2)
    assert page.locator("#row-list .chips button").count() == 4
    page.locator("#row-list .chips button").first.click()
    page.wait_for_function("() => document.getElementById('where').textContent.includes('tray 2')")
    screen.press("Escape")
    assert len(answers(folder)) == 1


def test_the_browsers_way_back_leads_to_the_picture(screen: Screen) -> None:
    screen.begin("Ann")
    step = on_to_flag(screen)
    page = screen.page
    for key in ("o", "e"):
        screen.press(key)
        page.wait_for_selector("#desk", state="hidden")
        page.go_back()
        page.wait_for_selector("#desk:not([hidden])")
        assert screen.shown() == step
    screen.press("o")
    screen.press("Escape")
    page.wait_for_selector("#desk:not([hidden])")
    assert screen.shown() == step


def test_marks_off_and_zoom(screen: Screen) -> None:
    screen.begin("Ann")
    on_to_flag(screen)
    page = screen.page
    assert page.locator("#near .ringed").first.is_visible()
    screen.press("m")
    assert not page.locator("#near .ringed").first.is_visible()
    # One millimetre is as long as the bar says, at every zoom: 20 px of the photograph.
    for key in ("+", "+", "-", "0"):
        screen.press(key)
        page.wait_for_timeout(50)
        said = float(page.inner_text("#near-scale").split()[0])
        bar = page.locator("#near-bar").bounding_box()["width"]
        layer = page.locator("#near img").last
        shown, natural = layer.bounding_box()["width"], layer.evaluate("image => image.naturalWidth")
        assert bar / said == pytest.approx(20 * shown / natural, rel=0.02)
