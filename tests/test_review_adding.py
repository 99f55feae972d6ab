"""What a person draws on the desk's picture: a speck that the tool missed, and the ring of a colony."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from opened_desk import Screen, answers, on_to_flag

pytestmark = pytest.mark.slow


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


def test_a_refused_speck_comes_back_with_what_was_typed(screen: Screen, folder: Path) -> None:
    screen.begin("Ann")
    page = screen.page
    page.click("#add")
    box = page.locator("#far").bounding_box()
    page.mouse.click(box["x"] + 300, box["y"] + 200)
    page.mouse.click(box["x"] + 300, box["y"] + 240)
    page.wait_for_selector("#insect-form:not([hidden])")
    page.fill("#note", "near the \u202e stem")
    page.click("#keep")
    page.wait_for_selector("#insect-error:not([hidden])")
    assert page.input_value("#note") == "near the \u202e stem"
    assert answers(folder) == []
    page.fill("#note", "near the stem")
    page.click("#keep")
    screen.wait_until_kept()
    assert [row[1:3] for row in answers(folder)] == [(100_001, "insect")]
    # The browser itself reports the refusal.
    assert screen.faults.pop().startswith("Failed to load resource")
