"""The review desk as people use it: by keyboard, by mouse, by touch; two at once; with the server killed in the middle."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from opened_desk import Opened, Screen, chromium, desk_on, start_desk
from scored_folder import Made, places, write_folder

SHOTS = [
    Made("tray 1.jpg", flags=5, sample="1", piece="1", seed=1),
    Made("tray 2.jpg", flags=4, sample="1", piece="2", seed=2),
    Made("tray 3.jpg", flags=0, sample="2", piece="1", seed=3),
]
TARGET_PX = 18 / 25.4 * 96
"""18 mm in CSS pixels (CSS Values and Units 3: 96 px are 25.4 mm)."""


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as started:
        yield started


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_folder(tmp_path / "scored", SHOTS)


@pytest.fixture
def desk(folder: Path) -> Iterator[Opened]:
    with desk_on(folder) as opened:
        yield opened


@pytest.fixture
def screen(browser: Any, desk: Opened) -> Iterator[Screen]:
    context = browser.new_context(viewport={"width": 1400, "height": 900})
    shown = Screen(context, desk.address)
    yield shown
    assert shown.faults == []
    # Nothing leaves the machine.
    assert all(url.startswith(desk.address) for url in shown.asked)
    context.close()


def answers(folder: Path) -> list[tuple[Any, ...]]:
    """The record as another program reads it, in the order of its numbers."""
    with sqlite3.connect(folder / "decisions.sqlite") as record:
        return record.execute(
            "SELECT shot_sha256, candidate, answer, kind, body, reviewer, least, most, source FROM answers ORDER BY number"
        ).fetchall()


def last_answers(folder: Path) -> dict[tuple[str, int], str]:
    return {(row[0], row[1]): row[2] for row in answers(folder)}


def on_to_flag(screen: Screen) -> str:
    """Goes on until a flag is on the screen."""
    while "/" not in screen.shown():
        before = screen.shown()
        screen.press("Enter")
        screen.wait_for_step(before)
    return screen.shown()


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


def test_a_review_by_touch(browser: Any, desk: Opened, folder: Path) -> None:
    context = browser.new_context(viewport={"width": 412, "height": 915}, has_touch=True, is_mobile=True)
    screen = Screen(context, desk.address)
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


def test_two_people_at_once(browser: Any, desk: Opened, folder: Path) -> None:
    contexts = [browser.new_context() for _ in range(2)]
    ann, bo = (Screen(context, desk.address) for context in contexts)
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


def test_a_missed_speck_is_added_by_a_drag(screen: Screen, folder: Path) -> None:
    screen.begin("Ann")
    page = screen.page
    page.click("#add")
    box = page.locator("#far").bounding_box()
    x, y = box["x"] + box["width"] * 0.5, box["y"] + box["height"] * 0.3
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 30, y + 40, steps=5)
    page.mouse.up()
    page.wait_for_selector("#insect-form:not([hidden])")
    screen.press("1")
    screen.press("Enter")
    screen.wait_until_kept()
    with sqlite3.connect(folder / "decisions.sqlite") as record:
        candidate, x_px, y_px, length_px = record.execute(
            "SELECT candidate, x_px, y_px, length_px FROM added"
        ).fetchone()
    # The whole shot of 600 x 400 px fits the stage: one zoom, the same in both directions.
    zoom = min(box["width"] / 600, box["height"] / 400)
    assert candidate == 100_001
    assert x_px == pytest.approx(299.5 + 15 / zoom, abs=1)
    assert y_px == pytest.approx(199.5 + (-0.2 * box["height"] + 20) / zoom, abs=1)
    assert length_px == pytest.approx(50 / zoom, rel=0.03)
    assert [row[1:5] for row in answers(folder)] == [(100_001, "insect", "aphid", "whole")]


def test_a_missed_speck_is_added_by_keys_alone_and_by_two_clicks(screen: Screen, folder: Path) -> None:
    screen.begin("Ann")
    page = screen.page
    screen.press("a")
    screen.press("Enter")
    for _ in range(4):
        screen.press("Shift+ArrowRight")
    screen.press("Enter")
    page.wait_for_selector("#insect-form:not([hidden])")
    screen.press("1")
    screen.press("Enter")
    # Back where it was drawn, on the whole photograph; a slip is thought better of and leaves nothing.
    page.wait_for_selector("#desk.whole")
    page.click("#add")
    page.mouse.dblclick(300, 300)
    page.wait_for_selector("#insect-form:not([hidden])")
    screen.press("Escape")
    page.wait_for_selector("#desk.whole")
    page.click("#add")
    box = page.locator("#far").bounding_box()
    page.mouse.click(box["x"] + 300, box["y"] + 200)
    page.mouse.click(box["x"] + 300, box["y"] + 240)
    page.wait_for_selector("#insect-form:not([hidden])")
    screen.press("Enter")
    screen.wait_until_kept()
    with sqlite3.connect(folder / "decisions.sqlite") as record:
        found = record.execute("SELECT candidate, angle_deg, length_px FROM added ORDER BY number").fetchall()
    assert [(number, round(abs(angle))) for number, angle, _ in found] == [(100_001, 0), (100_002, 90)]
    assert all(length > 5 for *_, length in found)


def test_undo_of_an_added_speck_withdraws_it(screen: Screen, folder: Path) -> None:
    screen.begin("Ann")
    page = screen.page
    page.click("#add")
    box = page.locator("#far").bounding_box()
    page.mouse.click(box["x"] + 300, box["y"] + 200)
    page.mouse.click(box["x"] + 300, box["y"] + 240)
    page.wait_for_selector("#insect-form:not([hidden])")
    screen.press("Enter")
    screen.wait_until_kept()
    page.wait_for_function("() => document.getElementById('progress').textContent.endsWith('1 of 10 answered')")
    screen.press("u")
    screen.wait_until_kept()
    page.wait_for_function("() => document.getElementById('progress').textContent.endsWith('0 of 9 answered')")
    # What was said stays in the record; it is only no longer asked about.
    assert [row[1:3] for row in answers(folder)] == [(100_001, "insect"), (100_001, "")]


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


def test_nothing_is_answered_before_its_picture_is_there(browser: Any, desk: Opened, folder: Path) -> None:
    context = browser.new_context()
    held: list[Any] = []
    context.route("**/part/**", lambda route: held.append(route))
    screen = Screen(context, desk.address)
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


def test_a_colony_is_ringed_and_counted_as_a_range(screen: Screen, folder: Path) -> None:
    screen.begin("Ann")
    step = on_to_flag(screen)
    page = screen.page
    screen.press("i")
    page.click("#insect-form label:has-text('colony')")
    screen.press("Enter")
    assert "needs a count" in page.inner_text("#insect-error")
    page.fill("input[name=least]", "20")
    page.fill("input[name=most]", "40")
    page.click("#ring")
    box = page.locator("#near").bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] / 2 + 90, box["y"] + box["height"] / 2, steps=4)
    page.mouse.up()
    page.click("#insect-form button[type=submit]")
    screen.wait_for_step(step)
    screen.wait_until_kept()
    assert [row[2:8] for row in answers(folder)] == [("insect", "", "colony", "Ann", 20, 40)]
    with sqlite3.connect(folder / "decisions.sqlite") as record:
        assert record.execute("SELECT ring_radius_px FROM answers").fetchone()[0] == pytest.approx(
            90 / (72 / 20), rel=0.05
        )
    screen.press("e")
    page.wait_for_selector("#end:not([hidden]) td")
    assert "20 to 40 animals" in page.inner_text("#end-text")


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
