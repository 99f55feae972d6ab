"""The straight line, step by step, as plain numbers: what the golden files hold and the test compares."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from vision.decode import decode_shot
from vision.foreground import find_surfaces
from vision.glance import PATCH
from vision.looks import Looks, views_of
from vision.pipeline import inspect, observe, see_light
from vision.rank import shipped_ranker
from vision.specks import search_places
from vision.table import Belonging, candidate_rows
from vision.types import Cut, ScaleFrom, Setup

HERE = Path(__file__).parent
NAMES = ("water", "florets")
SETUP = Setup(px_per_mm=20.0, scale_from=ScaleFrom.OPTION)


def steps(name: str) -> dict[str, Any]:
    """Every step's numbers for the photograph tests/golden/NAME.jpg."""
    shot = decode_shot((HERE / f"{name}.jpg").read_bytes(), name)
    light = see_light(shot, SETUP)
    surfaces = find_surfaces(light.density, None, 20.0)
    search = search_places(light, surfaces, 20.0)
    assert search is not None
    ranker = shipped_ranker()
    looks = Looks(ranker.net, views_of(shot, light, 20.0))
    spots = search.in_shot(np.arange(min(10, len(search.places.row))), light.step)
    seen = observe(shot, SETUP, None, ranker)
    inspection = inspect(shot, SETUP, None, ranker, Cut())
    quality = inspection.quality
    return {
        "decode": _list(shot.pixels.reshape(-1, 3).mean(axis=0)),
        "light": _list(np.percentile(light.density, [1, 25, 50, 75, 99])) + _list(light.log_level.mean(axis=(0, 1))),
        "surfaces": [float(part.mean()) for part in (surfaces.ground, surfaces.produce, surfaces.outside)],
        "places": [len(search.places.row), *_list(search.places.signal[:10])],
        "glances": _list(np.abs(np.delete(search.glances, PATCH, axis=1)).mean(axis=0)),
        "patches": [float(looks.views.of(spots)[0].mean()), *_list(looks.at(spots))],
        "measures": [
            _list([m.measures.x_px, m.measures.y_px, m.measures.length_px, m.measures.width_px])
            for m in seen.measured[:12]
        ],
        "features": _list(np.abs(seen.features).mean(axis=0)),
        "quality": [quality.panel_level, quality.clipped, quality.uneven, quality.noise, quality.unsearched],
        "rows": candidate_rows(Belonging(name, "r0"), inspection)[:5],
    }


def _list(values: Any) -> list[float]:
    return [round(float(v), 6) for v in values]
