"""The results page in a real browser, from the disk, without JavaScript."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from cli.pages.glance import ShotRows
from cli.pages.index import build_pages
from cli.pages.names import shot_files
from vision.sheet import Box, lay_out, small_size
from vision.table import CANDIDATES, SHOTS, format_cell

CHROMIUM = shutil.which("chromium")
# Shot, px/mm, and its candidates' boxes: number, left, top, width, height.
SHOTS_MADE: list[tuple[str, float, list[tuple[int, int, int, int, int]]]] = [
    ('day 1/tray "a" & 100% #1.jpg', 20.0, [(1, 100, 100, 40, 30), (2, 900, 700, 300, 60), (3, 300, 90, 20, 20)]),
    ("מגש מים.jpg", 50.0, [(1, 400, 500, 90, 90)]),
    ("rinse 2.jpg", 20.0, []),
]


def write_folder(folder: Path) -> None:
    """A results folder of three shots: pictures in one colour, crops that show a disc in their middle."""
    shots = []
    for name, px_per_mm, found in SHOTS_MADE:
        facts = {
            "shot": name, "shot_sha256": "ab" * 32, "width_px": 1600, "height_px": 1200, "px_per_mm": px_per_mm,
            "scale_from": "option", "ground": "panel", "lit_from": "below", "unsearched_pct": 3.0, "usable": "yes",
            "candidates": len(found),
        }  # fmt: skip
        row = [format_cell(column, facts.get(column.name)) for column in SHOTS]
        candidates, files = [], []
        for number, left, top, wide, high in found:
            one = {
                "shot": name, "shot_sha256": "ab" * 32, "candidate": number, "x_mm": 1.0, "y_mm": 2.0, "left_px": left,
                "top_px": top, "wide_px": wide, "high_px": high, "length_mm": 2.0, "width_mm": 1.0,
                "size_uncertainty": 0.1, "resembles": "aphid", "why": "brown, roundish", "score": 0.5, "found_by": "tool",
            }  # fmt: skip
            candidates.append([format_cell(column, one.get(column.name)) for column in CANDIDATES])
        sheet = lay_out([Box(*box) for box in found], px_per_mm)
        paths = shot_files(name, "ab" * 32)
        sizes = {
            paths.annotated: (1600, 1500), paths.unmarked: (1600, 1200), paths.small: small_size(1600, 1200),
            paths.crops: (sheet.columns * sheet.cell_px, sheet.rows * sheet.cell_px),
        }  # fmt: skip
        for path, (width, height) in sizes.items():
            if width:
                (folder / path).parent.mkdir(exist_ok=True)
                encoded = cv2.imencode(".jpg", np.full((height, width, 3), 200, dtype=np.uint8))[1]
                (folder / path).write_bytes(encoded.tobytes())
                files.append(path)
        shots.append(ShotRows(row, candidates, files))
    for table in ("candidates.csv", "shots.csv"):
        (folder / table).write_text("")
    for path, text in build_pages(lambda: shots, run="r0", version="0.1.0"):
        (folder / path).write_text(text, encoding="utf-8")


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    if CHROMIUM is None:
        pytest.skip("needs Debian's package chromium")
    playwright = pytest.importorskip("playwright.sync_api", reason="needs the package playwright from PyPI")
    folder = tmp_path_factory.mktemp("results with a space")
    write_folder(folder)
    with playwright.sync_playwright() as started:
        browser = started.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-quic"])
        context = browser.new_context(java_script_enabled=False, viewport={"width": 1400, "height": 900})
        shown = context.new_page()
        shown.asked = []
        shown.failed = []
        shown.on("request", lambda request: shown.asked.append(request.url))
        shown.on("requestfailed", lambda request: shown.failed.append(request.url))
        shown.goto((folder / "index.html").as_uri())
        for picture in shown.locator("img").all():
            picture.scroll_into_view_if_needed()
        shown.wait_for_load_state("networkidle")
        yield shown
        browser.close()


def test_all_it_asks_for_is_in_the_folder(page: Any) -> None:
    assert page.failed == []
    assert len(page.asked) >= 6
    assert all(url.startswith("file:///") for url in page.asked)


def test_crops_are_cut_to_their_windows_at_one_scale(page: Any) -> None:
    """42 CSS mm for each 6 mm; 1 CSS mm = 96 / 25.4 px."""
    millimetre = 96 / 25.4
    windows = [window.bounding_box() for window in page.locator(".window").all()]
    assert len(windows) == 4
    assert sorted(round(window["width"] / millimetre / 42, 2) for window in windows) == pytest.approx(
        [1, 1, 1, 3], abs=0.03
    )
    for picture in page.locator(".window img").all():
        box = picture.bounding_box()
        assert box["width"] / millimetre / 42 == pytest.approx(round(box["width"] / millimetre / 42), abs=0.01)


@pytest.mark.parametrize("width", [1400, 800, 420])
def test_nothing_runs_out_of_the_page(page: Any, width: int) -> None:
    page.set_viewport_size({"width": width, "height": 900})
    for part in page.locator("article, h2, li, table, p, figure").all():
        box = part.bounding_box()
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= width + 0.5
    page.set_viewport_size({"width": 1400, "height": 900})


def test_keys_reach_every_link_and_show_it(page: Any) -> None:
    links = page.locator("a").count()
    before = page.screenshot()
    page.keyboard.press("Tab")
    assert page.screenshot() != before
    for _ in range(links - 1):
        assert page.locator("a:focus").count() == 1
        page.keyboard.press("Tab")
    assert page.locator("a:focus").count() == 1


@pytest.mark.parametrize("width", [1400, 800, 420])
def test_a_list_of_pages_runs_not_out_either(page: Any, width: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("cli.pages.glance.SHOTS_LISTED", 200)
    told = {"shot_sha256": "ab" * 32, "width_px": 1600, "height_px": 1200, "unsearched_pct": 3.0}
    shots = []
    for number in range(201):
        facts = {
            **told,
            "shot": f"day 1/{'long' * 20}{number:05d}.jpg",
            "candidates": number % 3 * 1000,
            "usable": "no",
        }
        if number % 10 == 1:
            facts |= {"error": "It is empty.", "usable": None}
        shots.append(ShotRows([format_cell(column, facts.get(column.name)) for column in SHOTS], [], []))
    index = dict(build_pages(lambda: shots, run="r0", version="0.1.0"))["index.html"]
    shown = page.context.new_page()
    shown.set_viewport_size({"width": width, "height": 900})
    shown.set_content(index)
    assert shown.locator(".glance tbody tr").count() == 5
    for part in shown.locator("table, th, td, a").all():
        box = part.bounding_box()
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= width + 0.5
    shown.close()


def test_the_unmarked_copy_is_one_click_away(page: Any) -> None:
    here = page.url
    page.get_by_text("Unmarked copy").first.click()
    page.wait_for_load_state()
    assert page.url.endswith("-unmarked.jpg")
    page.goto(here)
