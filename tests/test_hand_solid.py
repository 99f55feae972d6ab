"""The hand of solids and height fields: what it draws is what its truth says."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest

from vision.render.hands.seen import HandDrawn
from vision.render.hands.solid import draw
from vision.render.truth import TrueBody

pytestmark = pytest.mark.slow

KINDS = ("water", "cloth", "broccoli", "cauliflower", "scallion")
NAMES = {"aphid", "thrips", "caterpillar", "larva", "mite", "gnat", "egg", "skin"}
_WIDE, _HIGH = 400, 300


@cache
def _drawn(kind: str, seed: int, insects: int) -> HandDrawn:
    return draw(kind, seed, insects, _WIDE, _HIGH)


def test_same_seed_same_bytes_and_other_seed_others() -> None:
    first = _drawn("water", 1, 3)
    again = draw("water", 1, 3, _WIDE, _HIGH)
    assert first.pixels.tobytes() == again.pixels.tobytes()
    assert first.truth == again.truth
    assert first.pixels.tobytes() != _drawn("water", 2, 3).pixels.tobytes()


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("insects", [0, 3])
def test_every_kind_draws(kind: str, insects: int) -> None:
    shot = _drawn(kind, 1, insects)
    assert shot.pixels.shape == (_HIGH, _WIDE, 3)
    assert shot.pixels.dtype == np.uint8
    assert shot.pixels.std() > 3
    assert len(shot.truth) == insects


@pytest.mark.parametrize(
    ("kind", "insects", "surfaces"),
    [
        ("water", 8, {"water"}),
        ("cloth", 8, {"cloth"}),
        ("broccoli", 60, {"panel", "produce"}),
        ("cauliflower", 8, {"panel", "produce"}),
        ("scallion", 12, {"panel", "produce"}),
    ],
)
def test_rows_of_a_crowd_are_sound(kind: str, insects: int, surfaces: set[str]) -> None:
    rows = _drawn(kind, 3, insects).truth
    assert len(rows) == insects
    for row in rows:
        assert 0 <= row.x_px <= _WIDE - 1
        assert 0 <= row.y_px <= _HIGH - 1
        assert math.isfinite(row.delta_e)
        assert 0 <= row.visible <= 1
        assert 0 < row.width_mm < row.length_mm
        assert row.kind in NAMES
        assert row.surface in surfaces
    assert len({row.kind for row in rows}) > 1


def test_insects_change_the_picture_only_where_they_are() -> None:
    """A plain insect is where the picture drawn with it differs from the picture drawn without."""
    compared = 0
    for seed in range(1, 5):
        (row,) = _drawn("water", seed, 1).truth
        change = np.abs(_gray(_drawn("water", seed, 1)) - _gray(_drawn("water", seed, 0)))
        far = np.hypot(np.arange(_WIDE)[None] - row.x_px, np.arange(_HIGH)[:, None] - row.y_px) > _reach_px(row)
        assert change[far].mean() < 1
        if row.visible > 0.99 and row.tone == "darker" and row.delta_e > 15 and not row.curved:
            rows, columns = np.nonzero(change > 0.5 * np.percentile(change[~far], 99))
            # Legs and feelers, and a cover of some, pull the middle of what changed a little aside.
            assert math.hypot(columns.mean() - row.x_px, rows.mean() - row.y_px) < 0.25 * row.length_mm * 20 + 2
            compared += 1
    assert compared


def test_unknown_kind_is_refused() -> None:
    with pytest.raises(ValueError, match="does not draw 'soup'"):
        draw("soup", 1, 0)


def _gray(shot: HandDrawn) -> np.ndarray:
    return shot.pixels.astype(np.float32).mean(axis=2)


def _reach_px(row: TrueBody) -> float:
    return 30 + 1.5 * row.length_mm * 20
