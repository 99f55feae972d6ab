"""The sample photographs: drawn again they are the same, their truth is there, and they stay small."""

from __future__ import annotations

import csv
import tomllib
from pathlib import Path

import pytest
from redraw import PX_PER_MM, draw_sample, share_alike, truth_table
from redraw import SAMPLES as RECIPES

from vision.decode import decode_shot

SAMPLES = Path(__file__).parent.parent / "sample_images"


_LAST_PLACE = 1.001e-4
"""Degrees: one in the last place that the table gives. The direction of a nearly round drop hangs on the last bits of its drawing, in
which processors differ; everything else is compared to the letter."""


def _truth() -> list[dict[str, str]]:
    with (SAMPLES / "truth.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("name", ["01-blank-panel-a", "03-rinse-water-sample-1", "07-florets-underside-1"])
def test_a_sample_drawn_again_is_the_same(name: str) -> None:
    sample = next(s for s in RECIPES if s.name == name)
    jpeg, rows = draw_sample(sample)
    assert share_alike(jpeg, (SAMPLES / f"{name}.jpg").read_bytes()) >= 0.999
    stated = [row for row in _truth() if row["shot"] == f"{name}.jpg"]
    again = list(csv.DictReader(truth_table(rows).splitlines()))
    angles = [[float(row.pop("angle_deg")) for row in table] for table in (again, stated)]
    assert angles[0] == pytest.approx(angles[1], abs=_LAST_PLACE)
    assert again == stated


def test_share_alike_tells_pictures_apart() -> None:
    one, two = ((SAMPLES / f"{name}.jpg").read_bytes() for name in ("01-blank-panel-a", "03-rinse-water-sample-1"))
    assert share_alike(one, one) == 1.0
    assert share_alike(one, two) < 0.9


def test_about_a_dozen_shots_under_12_megabytes() -> None:
    files = sorted(SAMPLES.glob("*.jpg"))
    assert [f.stem for f in files] == [s.name for s in RECIPES]
    assert sum(f.stat().st_size for f in SAMPLES.iterdir() if f.is_file()) < 12e6
    sizes = {f.stem: decode_shot(f.read_bytes(), f.name) for f in files}
    large = [name for name, shot in sizes.items() if shot.width_px * shot.height_px > 10e6]
    assert len(large) == 2
    assert len(files) == 12


def test_truth_has_the_insects_that_were_asked_for() -> None:
    rows = _truth()
    for sample in RECIPES:
        for kind, count in sample.recipe.insects or ():
            drawn = [r for r in rows if r["shot"] == f"{sample.name}.jpg" and r["kind"] == kind]
            assert len(drawn) == count, (sample.name, kind)


def test_scenario_has_the_scale_the_shots_are_drawn_at() -> None:
    scenario = tomllib.loads((SAMPLES / "scenario.toml").read_text(encoding="utf-8"))
    assert scenario["px_per_mm"] == PX_PER_MM
    assert "invented" in (SAMPLES / "scenario.toml").read_text(encoding="utf-8")
