"""The desk's pages as such: no accessibility fault that axe-core knows, right-to-left, narrow, large; second eyes and tables end to end."""

from __future__ import annotations

import csv
import io
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from opened_desk import Screen, desk_on, served_here
from scored_folder import Made, write_folder

pytestmark = pytest.mark.slow

SHOTS = [Made("tray 1.jpg", flags=5, seed=1), Made("tray 2.jpg", flags=4, sample="2", seed=2)]
# Web Content Accessibility Guidelines 2.2, levels A and AA, as axe-core's rules are tagged (package axe-core, MPL 2.0).
WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


def faults_of(page: Any) -> list[str]:
    """What axe-core finds, rule and place."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="needs axe-playwright-python from PyPI")
    # Its script is put in by the browser's own channel, which the page's policy does not reach.
    found = axe.Axe().run(page, options={"runOnly": {"type": "tag", "values": WCAG}})
    return [f"{each['id']}: {each['nodes'][0]['html'][:120]}" for each in found.response["violations"]]


def test_axe_finds_no_fault_on_any_screen(browser: Any, tmp_path: Path) -> None:
    with desk_on(write_folder(tmp_path / "scored", SHOTS)) as desk:
        context = browser.new_context(viewport={"width": 1400, "height": 900}, bypass_csp=True)
        screen = Screen(context, desk.address)
        page = screen.page
        page.wait_for_selector("#begin:enabled")
        assert faults_of(page) == []
        screen.begin("Ann")
        assert faults_of(page) == []
        page.keyboard.press("Enter")
        page.wait_for_function("() => document.getElementById('desk').dataset.shown.includes('/')")
        assert faults_of(page) == []
        page.keyboard.press("i")
        page.click("#insect-form label:has-text('colony')")
        assert faults_of(page) == []
        page.keyboard.press("Escape")
        page.keyboard.press("n")
        page.keyboard.press("o")
        assert faults_of(page) == []
        page.keyboard.press("e")
        page.wait_for_selector("#end:not([hidden]) td")
        assert faults_of(page) == []
        page.click("#to-keys")
        assert faults_of(page) == []
        page.goto(desk.supervisor)
        assert faults_of(page) == []
        context.close()


@pytest.fixture
def right_to_left(tmp_path: Path) -> Iterator[str]:
    """A desk in a language that is written from right to left: the English catalogue with its direction and words changed."""
    from cli.review.store import Store, sqlite_url
    from cli.review.words import catalogue

    folder = write_folder(tmp_path / "scored", SHOTS)
    words = {key: f"\u05d0\u05d1 {text}" for key, text in catalogue().items() if not key.startswith("key.")}
    keys = {key: text for key, text in catalogue().items() if key.startswith("key.")}
    words |= keys | {"language": "he", "direction": "rtl"}
    with served_here(folder, Store(sqlite_url(folder / "decisions.sqlite")), words, "k") as address:
        yield address


def test_right_to_left(browser: Any, right_to_left: str) -> None:
    context = browser.new_context(viewport={"width": 1400, "height": 900})
    screen = Screen(context, right_to_left)
    screen.begin("Ann")
    page = screen.page
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.getElementById('desk').dataset.shown.includes('/')")
    near, far = (page.locator(name).bounding_box() for name in ("#near", "#far"))
    assert near["x"] > far["x"], "what comes first stands at the right"
    # The picture itself is never mirrored: a flag's ring lies on the dot that was drawn there.
    ring = page.locator("#far circle.over").bounding_box()
    step = screen.shown().split("/")[1]
    from scored_folder import places

    x_px, y_px = places(SHOTS[0])[int(step) - 1]
    zoom = min(far["width"] / 600, far["height"] / 400)
    middle = far["x"] + far["width"] / 2 + (x_px - 299.5) * zoom, far["y"] + far["height"] / 2 + (y_px - 199.5) * zoom
    assert ring["x"] + ring["width"] / 2 == pytest.approx(middle[0], abs=3)
    assert ring["y"] + ring["height"] / 2 == pytest.approx(middle[1], abs=3)
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert screen.faults == []
    context.close()


@pytest.mark.parametrize("width", [360, 800, 1280])
def test_nothing_runs_out_of_a_narrow_screen(browser: Any, tmp_path: Path, width: int) -> None:
    with desk_on(write_folder(tmp_path / "scored", SHOTS)) as desk:
        context = browser.new_context(viewport={"width": width, "height": 800})
        screen = Screen(context, desk.address)
        screen.begin("Ann")
        page = screen.page
        page.keyboard.press("Enter")
        page.wait_for_function("() => document.getElementById('desk').dataset.shown.includes('/')")
        for key in ("", "i", "Escape", "o", "e"):
            if key:
                page.keyboard.press(key)
            assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), key
        context.close()


@pytest.mark.long
def test_five_thousand_candidates(browser: Any, tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "scored", [Made(f"{k:02d}.jpg", flags=250, seed=k) for k in range(20)])
    with desk_on(folder) as desk:
        context = browser.new_context(viewport={"width": 1400, "height": 900})
        screen = Screen(context, desk.address)
        screen.begin("Ann")
        page = screen.page
        assert "of 5000 answered" in page.inner_text("#progress")
        page.keyboard.press("Enter")
        page.wait_for_function("() => document.getElementById('desk').dataset.shown.includes('/')")
        screen.wait_until_taken()
        for _ in range(20):
            step = screen.shown()
            page.keyboard.press("n")
            screen.wait_for_step(step)
        screen.wait_until_kept()
        page.keyboard.press("e")
        page.wait_for_selector("#end:not([hidden]) td")
        assert "4980 flags are open" in page.inner_text("#end-text")
        page.keyboard.press("o")
        assert page.locator("#row-list .chips button").count() == 5000
        assert screen.faults == []
        context.close()


def run_review(folder: Path, *options: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-c", "from cli.entry import main; main()", "review", str(folder), *options]
    return subprocess.run(command, capture_output=True, text=True, cwd=Path(__file__).parent.parent, timeout=120)


def test_a_table_goes_out_is_filled_in_and_comes_back(browser: Any, tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "scored", SHOTS)
    given, filled = tmp_path / "given.csv", tmp_path / "filled.csv"
    assert run_review(folder, "--give", str(given)).returncode == 0
    rows = list(csv.DictReader(io.StringIO(given.read_text("utf-8-sig"))))
    assert len(rows) == 9
    for k, row in enumerate(rows):
        row |= {"answer": "not an insect" if k % 3 else "Insect", "kind": "" if k % 3 else "aphid"}
    rows[4]["answer"] = "maybe"
    # As a spreadsheet set to another country's habits leaves it.
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, list(rows[0]), delimiter=";", lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(
        {key: cell.replace(".", ",") if key.endswith("_px") else cell for key, cell in row.items()} for row in rows
    )
    filled.write_text(out.getvalue(), encoding="utf-16")
    taken = run_review(folder, "--take", str(filled), "--name", "Dov")
    assert taken.returncode == 1
    assert "8 answers were taken" in taken.stdout
    assert "Row 6" in taken.stderr
    assert "maybe" in taken.stderr
    again = run_review(folder, "--take", str(filled), "--name", "Dov")
    assert "0 answers were taken" in again.stdout
    with desk_on(folder) as desk:
        context = browser.new_context()
        screen = Screen(context, desk.address)
        screen.begin("Ann")
        assert screen.page.inner_text("#progress").endswith("8 of 9 answered")
        context.close()


def test_second_eyes(browser: Any, tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "scored", SHOTS)
    with desk_on(folder) as desk:
        contexts = [browser.new_context() for _ in range(4)]
        ann, bo, cy, lead = (Screen(context, desk.address) for context in contexts)
        answer_all(ann, "Ann", 1, lambda n: "n")
        lead.page.goto(desk.supervisor)
        lead.page.fill("input[name=share]", "100")
        lead.page.fill("input[name=by]", "Lea")
        lead.page.click("button[type=submit]")
        assert "Lea asked for 100%" in lead.page.inner_text("main")
        bo.page.reload()
        answer_all(bo, "Bo", 2, lambda n: "l" if n == 8 else "n" if n else "i")
        lead.page.goto(desk.supervisor)
        told = lead.page.inner_text("main")
        # By hand: eight specks were answered twice, seven alike; the ninth waits for another look.
        assert "8 flags were answered twice" in told
        assert "0.88" in told
        cy.page.reload()
        # Whoever has answered before is no third pair of eyes.
        answer_all(cy, "Cy", 3, lambda n: "n")
        lead.page.reload()
        figures = dict(
            zip(*(lead.page.locator(f"dl >> nth=0 >> {tag}").all_inner_texts() for tag in ("dt", "dd")), strict=True)
        )
        assert figures["Decided by the third reading"] == "1"
        assert figures["Two readings agree"] == "7"
        assert figures["Open, or waiting for another look"] == "1"
        for context in contexts:
            context.close()


def answer_all(screen: Screen, name: str, reading: int, key_of: Any) -> None:
    """Answers every flag of a reading."""
    screen.begin(name, reading)
    page = screen.page
    n = 0
    while page.locator("#end").is_hidden():
        screen.wait_until_taken()
        step = screen.shown()
        if "/" in step:
            key = key_of(n)
            page.keyboard.press(key)
            if key == "i":
                page.wait_for_selector("#insect-form:not([hidden])")
                page.keyboard.press("Enter")
            n += 1
        else:
            page.keyboard.press("Enter")
        page.wait_for_function(
            "before => !document.getElementById('end').hidden || document.getElementById('desk').dataset.shown !== before",
            arg=step,
        )
    screen.wait_until_kept()
