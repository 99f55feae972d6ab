"""One day of an invented kitchen from the printed strip to the page that is signed: calibrated, scored, reviewed in a browser, entered,
reported and checked again. What is counted at the end is held against what was drawn."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from drawn_day import LOT, DrawnDay, draw_day
from opened_desk import Opened, Screen, desk_on

from cli.entry import run
from cli.lots.rule_file import example_rule, rule_text
from cli.review.shelf import Shelf, read_shelf
from vision.table import SHOTS, from_csv, to_frame

pytestmark = pytest.mark.slow

WATER_1, WATER_2, OPENED_2 = (
    f"{LOT}/1/water/IMG_0005.jpg",
    f"{LOT}/2/water/IMG_0006.jpg",
    f"{LOT}/2/opened/IMG_0007.jpg",
)
LEAST_REACH_PX = 10.0
"""Half a millimetre: a flag so near an insect's middle is on it, or within half its length."""


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> DrawnDay:
    return draw_day(tmp_path_factory.mktemp("day"))


@pytest.fixture(scope="module")
def scored(day: DrawnDay) -> Path:
    """The day's photographs, scored with the panel's profile."""
    panel, out = day.folder / "panel.toml", day.folder / "scored"
    slips = [word for path in day.slips for word in ("--slip", str(path))]
    assert run(["calibrate", *map(str, day.blanks), *slips, "--out", str(panel)]) == 0
    assert run(["score", str(day.folder / "day"), "--out", str(out), "--panel", str(panel)]) == 0
    return out


def truth_of(shelf: Shelf, day: DrawnDay) -> dict[tuple[str, int], str]:
    """The kind of the insect that each flag lies on, by photograph and number: each insect's nearest flag alone is it."""
    kinds: dict[tuple[str, int], str] = {}
    for shot in shelf.shots:
        for x, y, kind, length_mm in day.insects[shot.name]:
            reach = max(LEAST_REACH_PX, length_mm / 2 * (shot.px_per_mm or 0))
            near = [(float(np.hypot(flag.x_px - x, flag.y_px - y)), flag.speck.candidate) for flag in shot.flags]
            free = sorted((away, n) for away, n in near if away <= reach and (shot.sha256, n) not in kinds)
            if free:
                kinds[shot.sha256, free[0][1]] = kind
    return kinds


def review(browser: Any, desk: Opened, kinds: dict[tuple[str, int], str], flags: int) -> None:
    """A person answers for every flag as it was drawn, by keyboard, with the piece in the hand."""
    context = browser.new_context(viewport={"width": 1400, "height": 900})
    screen = Screen(context, desk.address)
    screen.begin("Mila Brandt")
    page = screen.page
    for _ in range(flags + 20):
        if page.locator("#end").is_visible():
            break
        step = screen.shown()
        sha256, _, number = step.partition("/")
        kind = kinds.get((sha256, int(number))) if number else None
        if not number:
            screen.press("Enter")
        elif kind is None:
            screen.press("n")
        else:
            screen.press("i")
            page.wait_for_selector("#insect-form:not([hidden])")
            page.check(f"#insect-form input[name=kind][value={kind}]")
            page.check("#insect-form input[name=body][value=whole]")
            page.check("#insect-form input[name=unaided][value=yes]")
            page.click("#keep")
        page.wait_for_function(
            "before => document.getElementById('desk').dataset.shown !== before || !document.getElementById('end').hidden",
            arg=step,
        )
        screen.wait_until_taken()
    page.wait_for_selector("#end:not([hidden]) td")
    screen.wait_until_kept()
    assert "0 flags are open" in page.inner_text("#end-text") or "open" not in page.inner_text("#end-text")
    assert screen.faults == []
    context.close()


def enter(browser: Any, desk: Opened) -> None:
    """The supervisor enters how much the samples were, the rule, and what was removed."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, locale="en-GB")
    page = context.new_page()
    page.goto(f"{desk.supervisor}/lots")
    page.click(f".lot a:has-text('{LOT}')")

    def form(which: str, by: str, **values: str) -> None:
        page.click(f"#form-{which} > summary")
        for name, value in values.items():
            field = page.locator(f"#{which}-{name}")
            field.select_option(value) if field.evaluate("e => e.tagName") == "SELECT" else field.fill(value)
        page.fill(f"#{which}-by", by)
        page.click(f"#form-{which} button[type=submit]")
        page.wait_for_selector("text=Kept as entry")

    for sample, grams in (("1", "310"), ("2", "295")):
        form("sampled", "Odile", sample=sample, pieces="6", grams=grams, grams_are="raw", on="2026-11-24")
    form("detection", "Odile", assumed="50")
    form("removed", "Odile", sample="2", piece="4", what="the soft stalk was cut off")
    page.click("a:has-text('Give, change or sign the rule')")
    form("file", "Odile", pasted=rule_text(example_rule()))
    context.close()


def counted_in(page: str, sample: str) -> int:
    """Animals of all kinds that the page says of a sample."""
    row = re.search(rf'<tr><td dir="auto">{sample}</td>(.*?)</tr>', page.partition('id="counts-1"')[2])
    assert row is not None
    return int(re.findall(r"<td[^>]*>(.*?)</td>", row.group(1))[3])


def test_a_day_at_the_panel(browser: Any, day: DrawnDay, scored: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shots = to_frame(SHOTS, from_csv(SHOTS, (scored / "shots.csv").read_bytes())).set_index("shot")
    # What each belongs to: from the code on its strip, and of the florets, that show none, from manifest and folders.
    assert list(shots["lot"]) == [LOT] * 4
    assert dict(shots["sample"]) == {f"{LOT}/1/blank/IMG_0004.jpg": "1", WATER_1: "1", OPENED_2: "2", WATER_2: "2"}
    assert list(shots["view"]) == ["blank", "water", "opened", "water"]
    assert set(shots["produce"]) == {"broccoli"}
    shelf = read_shelf(scored)
    kinds = truth_of(shelf, day)
    of_water = [kind for (sha256, _), kind in kinds.items() if shelf.by_sha256[sha256].name == WATER_1]
    of_florets = [kind for (sha256, _), kind in kinds.items() if shelf.by_sha256[sha256].name == OPENED_2]
    assert of_water, "of the insects drawn on the water some are flagged"

    with desk_on(scored) as desk:
        review(browser, desk, kinds, len(shelf.flags))
        enter(browser, desk)

    lot = scored / "lot.html"
    assert run(["report", str(scored), "--out", str(lot)]) == 0
    page = lot.read_text(encoding="utf-8")
    assert counted_in(page, "1") == len(of_water)
    assert counted_in(page, "2") == len(of_florets)
    assert "Brook Farm (invented)" in page
    assert "Not complete:" in page
    # The manifest's last row is of a photograph that was never taken.
    assert f"1 photograph that the manifest names and that nobody has found: {LOT}/2/opened/IMG_0099.jpg." in page
    # The lot has no decision, and the record says so; nobody shot the undersides that the guide asks for.
    assert "The lot is held until a person enters the decision." in page
    assert re.search(r"not seen yet: .*underside", page)
    # The rule of the example (invented): none, one or two, three to seven, eight and more in a sample.
    steps = {
        example_rule().steps[sum(n >= least for least in (1, 3, 8))].action for n in (len(of_water), len(of_florets))
    }
    assert all(action in page for action in steps)

    capsys.readouterr()
    assert run(["report", str(scored), "--out", str(lot), "--verify"]) == 0
    lot.write_text(page.replace("Brook Farm", "Bruck Farm"), encoding="utf-8")
    assert run(["report", str(scored), "--out", str(lot), "--verify"]) == 1
    assert "identity" in capsys.readouterr().out
    for name in ("lot.pdf", "lot.csv", "season.html"):
        season = ["--since", "2026-11-01", "--until", "2026-11-30"] if name == "season.html" else []
        assert run(["report", str(scored), *season, "--out", str(scored / name)]) == 0
    pypdf = pytest.importorskip("pypdf")
    text = "".join(each.extract_text() for each in pypdf.PdfReader(io.BytesIO((scored / "lot.pdf").read_bytes())).pages)
    assert f"Record of lot {LOT}" in text.replace("\xa0", " ")
