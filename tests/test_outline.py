"""A body that clings to something larger is cut out by itself, whichever of the two is noticed first; a long body stays whole."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from vision.measure import measure_specks
from vision.overlap import without_repeats
from vision.rank import shipped_ranker
from vision.specks import find_specks
from vision.types import Light, Speck, Surfaces

_PX_PER_MM = 10.0
_SHAPE = (300, 400)
_YY, _XX = np.mgrid[0:300, 0:400].astype(float)


def _search(density: np.ndarray) -> tuple[Speck, ...]:
    """All specks of a picture of density on the ground beside a piece of produce, blurred as by a lens, with a little noise."""
    noise = np.random.default_rng(5).normal(0, 0.004, (3, *_SHAPE))
    soft = -np.log10(ndimage.gaussian_filter(10**-density, 0.8))
    planes = np.stack([soft] * 3) + noise
    bare = np.ones(_SHAPE, bool)
    produce = np.zeros(_SHAPE, bool)
    produce[:, 330:] = True
    light = Light(planes.astype(np.float32), np.zeros((8, 10, 3), np.float32), ~bare, 1)
    return find_specks(
        light, Surfaces(bare & ~produce, produce, ~bare), _PX_PER_MM, shipped_ranker().glance, everything=True
    )


def _sizes_near(specks: tuple[Speck, ...], y: float, x: float, within_px: float) -> list[float]:
    """Areas in pixels of the specks whose middle lies near a place."""
    out = []
    for s in specks:
        rows, columns = np.nonzero(s.mask)
        middle = s.top + rows.mean() * s.zoom, s.left + columns.mean() * s.zoom
        if np.hypot(middle[0] - y, middle[1] - x) <= within_px:
            out.append(len(rows) * s.zoom**2)
    return out


@pytest.mark.parametrize(("shade", "radius"), [(0.12, 6.0), (0.2, 6.0), (0.12, 10.0)])
def test_a_dark_body_on_the_edge_of_a_piece_and_its_shade_has_an_outline_of_its_own(
    shade: float, radius: float
) -> None:
    shaded = np.where(_XX + 0.3 * _YY > 240, shade, 0.0)
    body = np.hypot(_YY - 150, _XX - 195) < radius
    found = _sizes_near(_search(np.maximum(shaded, 0.6 * body)), 150, 195, radius)
    assert any(0.6 <= area / body.sum() <= 1.7 for area in found), found


def test_a_speck_inside_a_larger_pale_thing_is_listed_too() -> None:
    pale = 0.1 * (np.hypot(_YY - 150, (_XX - 200) / 1.5) < 45)
    body = np.hypot(_YY - 160, _XX - 215) < 5
    found = _sizes_near(_search(np.maximum(pale, 0.5 * body)), 160, 215, 5)
    assert any(0.6 <= area / body.sum() <= 1.7 for area in found), found


def test_a_long_body_is_one() -> None:
    """Twenty times as long as wide: it runs out of every first window, is wanted whole, and is listed once however often it is seen."""
    long = (np.abs(_YY - 150 - 12 * np.sin(_XX / 30)) < 4) & (np.abs(_XX - 200) < 80)
    measures = [m.measures for m in measure_specks(_search(0.5 * long), 1)]
    listed = [measures[k] for _, k in without_repeats(range(len(measures)), measures)]
    assert [m.area_px for m in listed if m.density > 0 and m.area_px > 0.3 * long.sum()] == [
        pytest.approx(long.sum(), rel=0.1)
    ]
