"""The detectors ours is compared with do find plain specks, so that the comparison is a fair one."""

from __future__ import annotations

import numpy as np
import pytest
from peers import PEERS, choices, flattened


def _shot(dark: bool) -> tuple[np.ndarray, list[tuple[int, int]]]:
    rng = np.random.default_rng(2)
    y, x = np.mgrid[0:300, 0:400]
    light = 170 + 25 * x / 400 + rng.normal(0, 1.0, (300, 400))
    places = [(60, 70), (330, 80), (200, 150), (90, 230), (310, 220)]
    for px, py in places:
        light = np.where((x - px) ** 2 + (y - py) ** 2 <= 36, light * (0.5 if dark else 1.25), light)
    return np.repeat(np.clip(light, 0, 255).astype(np.uint8)[..., None], 3, axis=2), places


@pytest.mark.parametrize("dark", [True, False])
@pytest.mark.parametrize("name", list(PEERS))
def test_each_finds_plain_discs_with_some_of_its_parameters(name: str, dark: bool) -> None:
    pixels, places = _shot(dark)
    density = flattened(pixels)
    shares = []
    for wish in choices(name):
        best = sorted(PEERS[name][0](density, **wish), key=lambda f: -f[2])[:8]
        shares.append(np.mean([any(np.hypot(fx - px, fy - py) < 8 for fx, fy, _ in best) for px, py in places]))
    assert max(shares) == 1.0
