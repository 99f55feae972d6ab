"""Two bodies that touch are cut apart; one body is not."""

from __future__ import annotations

import numpy as np
import pytest

from vision.parts import parted
from vision.types import Speck, Tone


def _speck(mask: np.ndarray) -> Speck:
    contrast = mask.astype(np.float32)
    return Speck(
        0, 0, 1, mask, contrast, contrast, np.repeat(contrast[..., None], 3, 2) * np.float32(0.3), (0.0, 0.0, 0.0), False,
        Tone.DARKER, 20.0, 3.0, 1.0, (), 0.0, (20.0,),
    )  # fmt: skip


def _ellipse(cy: float, cx: float, ry: float, rx: float, turn: float = 0.0) -> np.ndarray:
    y, x = np.mgrid[0:80, 0:120]
    dy, dx = y - cy, x - cx
    u, v = dx * np.cos(turn) + dy * np.sin(turn), dy * np.cos(turn) - dx * np.sin(turn)
    return np.asarray((u / rx) ** 2 + (v / ry) ** 2 <= 1)


@pytest.mark.parametrize("turn", [0.0, 0.5, 1.2])
def test_two_ovals_that_touch_are_two(turn: float) -> None:
    both = _ellipse(40, 40, 10, 16) | _ellipse(40, 40 + 16 + 15, 9, 16, turn if turn else 0.0)
    parts = parted(_speck(both))
    assert len(parts) == 2
    centres = sorted(float(np.nonzero(p.mask)[1].mean()) for p in parts)
    assert centres == pytest.approx([40, 71], abs=3)
    assert not (parts[0].mask & parts[1].mask).any()
    assert ((parts[0].mask | parts[1].mask) == both).all()


def test_one_body_stays_one() -> None:
    oval = _ellipse(40, 60, 12, 25)
    bent = (np.abs(np.hypot(*(np.mgrid[0:80, 0:120] - np.array([70, 60])[:, None, None])) - 45) < 6) & (
        np.mgrid[0:80, 0:120][0] < 60
    )
    y, x = np.mgrid[0:80, 0:120]
    legs = oval | ((np.abs(y - 40) < 30) & (np.abs((x - 60) - 0.4 * (y - 40)) < 1.6))
    for mask in (oval, bent, legs):
        assert len(parted(_speck(np.asarray(mask)))) == 1


def test_two_rounds_with_a_wide_neck_are_two_and_a_waist_is_none() -> None:
    # Discs of radius 15, 26 apart, blurred together: the neck is 0.6 of their width.
    rounds = _ellipse(40, 40, 15, 15) | _ellipse(40, 66, 15, 15)
    y, x = np.mgrid[0:80, 0:120]
    assert len(parted(_speck(np.asarray(rounds | ((np.abs(y - 40) < 9.5) & (np.abs(x - 53) < 8)))))) == 2
    # As narrow between two long halves it is the waist of one body.
    long = _ellipse(40, 34, 12, 30) | _ellipse(40, 84, 12, 30)
    waist = (np.abs(x - 59) < 8) & (np.abs(y - 40) >= 8)
    assert len(parted(_speck(np.asarray(long & ~waist)))) == 1
