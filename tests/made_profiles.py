"""A stand's profile made up for tests, and its file."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from calib.panel import PanelMeasurement
from calib.profile import (
    Profile,
    profile_of,
)
from vision.light import encode_srgb
from vision.types import CameraFacts, EvenLight, FixedMark, GroundMap, Lens, ScaleFrom, Sharpness, Shot

NOON = datetime(2026, 5, 4, 14, 0, tzinfo=timezone(timedelta(hours=2)))
SPECK = FixedMark(300.5, 200.0, 14.2, 0.61, length_px=24.0, width_px=15.0, angle_deg=30.0, doubtful=True)
SCRATCH = FixedMark(500.0, 410.5, 120.3, 0.12, length_px=240.0, width_px=9.0, angle_deg=171.5)
GLINT = FixedMark(90.0, 600.0, 4.1, -0.05, length_px=6.0, width_px=5.0)


def measurement(**changes: Any) -> PanelMeasurement:
    rng = np.random.default_rng(5)
    level = (0.3 + 0.4 * rng.random((48, 63, 3))).astype(np.float32)
    plain = PanelMeasurement(
        even_light=EvenLight(level, 1000, 760),
        marks=(SPECK, SCRATCH, GLINT),
        moved=(),
        noise=(0.0041234, 0.0039, 0.0052),
        noise_from="time",
        level=0.512345,
        uneven=0.298765,
        panel_share=1.0,
        exposure_spread=1.01,
        shot_sha256=("a" * 64, "b" * 64, "c" * 64),
        px_per_mm=12.5,
        camera=CameraFacts("Maker", "Phone 9", "main lens", 6.8, 26.0, 2.0, jpeg_quality=90),
        colour=(0.52, 0.51, 0.47),
        flicker=0.012,
    )
    return replace(plain, **changes)


def with_stand(profile: Profile) -> Profile:
    """The profile with a plane, seen through a lens, and a sharpness, as shots of the slip give them."""
    lens = Lens(900.0, 499.5, 379.5, -0.02, 0.004, 1000, 760)
    to_mm = np.array([[0.08, 0.0, 0.0], [0.0, 0.08, 0.0], [0.0, 0.0, 1.0]])
    plane = GroundMap(to_mm, np.diag([1e-8, 1e-8, 1e-4, 1e-8, 1e-8, 1e-4, 1e-14, 1e-14]), 499.5, 379.5, lens)
    return replace(
        profile,
        scale_from=ScaleFrom.SLIP,
        lens=lens,
        ground_map=plane,
        sharpness=Sharpness(0.9, 0.25, 0.41, 0.07, sharpened=True, from_slip=True),
    )


PROFILE = with_stand(replace(profile_of(measurement(), NOON), camera=replace(measurement().camera, jpeg_quality=None)))


def same(one: Profile, other: Profile) -> bool:
    """Equal in everything but arrays, which are compared by themselves."""
    for pick in (lambda p: p.even_light.level, lambda p: p.ground_map.to_mm, lambda p: p.ground_map.covariance):
        np.testing.assert_array_equal(pick(one), pick(other))
    bare = replace(one, even_light=other.even_light, ground_map=other.ground_map)
    assert one.ground_map is not None
    assert other.ground_map is not None
    places = [(g.x_px, g.y_px, g.lens) for g in (one.ground_map, other.ground_map)]
    return bare == other and places[0] == places[1]


def shot_of(wide: int = 1000, high: int = 760) -> Shot:
    """A shot of a bare panel whose light is that of the profile."""
    level = np.asarray(cv2.resize(PROFILE.even_light.level, (wide, high), interpolation=cv2.INTER_LINEAR))
    return Shot((encode_srgb(level) * 255).round().astype(np.uint8), "f" * 64, "shot.jpg")


def answer(path: Path, word: str) -> None:
    """What a person does: the first empty answer filled in."""
    path.write_text(path.read_text("utf-8").replace('answer = ""', f'answer = "{word}"', 1), "utf-8")
