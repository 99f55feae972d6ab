"""The profile's file: written, read, answered in; and what the person is told."""

from __future__ import annotations

import hashlib
import re
import struct
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_profiles import GLINT, NOON, PROFILE, SCRATCH, SPECK, answer, measurement, same, shot_of
from PIL import Image

from calib.panel_report import calibration_lines, mark_crops
from calib.profile import (
    carry_answers,
    load_profile,
    masked_marks,
    profile_digest,
    profile_of,
    setup_for,
    write_profile,
)
from calib.profile_read import parse_profile
from calib.profile_text import map_png, profile_text
from vision.types import CameraFacts, FixedMark, ScaleFrom, Shot


def test_written_and_read_back_it_is_the_same(stand: Path) -> None:
    back = load_profile(stand)
    assert same(back, PROFILE)
    assert back.even_light.level.dtype == np.float32
    assert profile_digest(back) == profile_digest(PROFILE)
    np.testing.assert_allclose(back.even_light.level, measurement().even_light.level, atol=0.5 / 65535)


def test_the_file_says_what_it_is(stand: Path) -> None:
    text = stand.read_text("utf-8")
    values = tomllib.loads(text)  # TOML 1.0, as the standard library reads it
    assert (values["format"], values["version"]) == ("speckwise panel profile", 2)
    assert values["made_at"] == "2026-05-04T12:00:00Z"  # RFC 3339, UTC
    assert values["picture"] == {"width_px": 1000, "height_px": 760, "px_per_mm": 12.5, "scale_from": "slip"}
    assert values["camera"]["focal_35mm"] == 26.0
    assert values["light"]["map"] == "stand-level.png"
    assert values["light"]["map_sha256"] == hashlib.sha256((stand.parent / "stand-level.png").read_bytes()).hexdigest()
    assert [mark["doubtful"] for mark in values["mark"]] == [True, False, False]
    for key in [*values["picture"], *values["light"], *values["mark"][0]]:
        assert re.search(rf"#.*\b{key}\b|^{key} = .*#|\b{key}\b.*#", text, re.M), f"nothing explains {key}"


def test_the_map_is_an_ordinary_picture(stand: Path) -> None:
    # PNG (ISO/IEC 15948): bit depth and colour type are bytes 24 and 25; 16 bits of red, green, blue.
    data = (stand.parent / "stand-level.png").read_bytes()
    assert struct.unpack(">IIBB", data[16:26]) == (63, 48, 16, 2)
    seen = np.asarray(Image.open(stand.parent / "stand-level.png").convert("RGB")) / 255
    np.testing.assert_allclose(seen, PROFILE.even_light.level, atol=1 / 255)


def test_without_a_scale_the_profile_has_none(tmp_path: Path) -> None:
    profile = profile_of(measurement(px_per_mm=None), NOON)
    back = load_profile(write_profile(profile, tmp_path / "p.toml")[0])
    assert back.px_per_mm is None
    assert setup_for(back, shot_of())[0].scale_from == ScaleFrom.NONE


@pytest.mark.parametrize("name", ["לוח.toml", "a 'b' \"c\".toml", "=x.toml", "no suffix", "😀.toml", "a.b.toml"])
def test_any_file_name_will_do(tmp_path: Path, name: str) -> None:
    path, map_path = write_profile(PROFILE, tmp_path / name)
    assert map_path.parent == path.parent
    assert profile_digest(load_profile(path)) == profile_digest(PROFILE)


inside = st.floats(0, 759, allow_nan=False)
marks = st.builds(
    FixedMark,
    x_px=inside,
    y_px=inside,
    radius_px=st.floats(0.1, 1000),
    density=st.floats(-5, 5),
    answer=st.sampled_from(["", "scratch", "insect"]),
    length_px=st.floats(0, 1200),
    width_px=st.floats(0, 1200),
    angle_deg=st.floats(0, 180, exclude_max=True),
    doubtful=st.booleans(),
)


@settings(max_examples=60, deadline=None)
@given(
    found=st.lists(marks, max_size=5),
    scale=st.none() | st.floats(0.1, 1e4),
    shares=st.tuples(st.floats(0, 1), st.floats(0, 1)),
    noise=st.tuples(*[st.floats(0, 10)] * 3),
    made_by=st.text(st.characters(exclude_categories=["Cs"])),
)
def test_every_number_and_text_comes_back_exactly(
    found: list[FixedMark], scale: float | None, shares: tuple[float, float], noise: Any, made_by: str
) -> None:
    # The plane has a scale of its own, which has to be the one that is quoted.
    profile = replace(
        PROFILE,
        ground_map=None,
        scale_from=ScaleFrom.NONE if scale is None else ScaleFrom.SLIP,
        marks=tuple(found),
        px_per_mm=scale,
        level=shares[0],
        uneven=shares[1],
        noise=noise,
        made_by=made_by,
    )
    data = map_png(profile.even_light.level)
    text = profile_text(profile, "m.png", hashlib.sha256(data).hexdigest())
    back = parse_profile(text, lambda name: data, "p.toml")
    assert replace(back, even_light=profile.even_light) == profile
    np.testing.assert_array_equal(back.even_light.level, profile.even_light.level)
    assert profile_digest(back) == profile_digest(profile)


def test_a_doubtful_mark_is_not_masked_before_a_person_says_scratch(stand: Path) -> None:
    assert masked_marks(load_profile(stand)) == (SCRATCH, GLINT)
    answer(stand, " Scratch ")  # people write it this way too
    marks = masked_marks(load_profile(stand))
    assert [m.x_px for m in marks] == [SPECK.x_px, SCRATCH.x_px, GLINT.x_px]
    assert marks[0].answer == "scratch"


def test_what_a_person_called_an_insect_is_never_masked() -> None:
    called = replace(PROFILE, marks=tuple(replace(m, answer="insect") for m in PROFILE.marks))
    assert masked_marks(called) == ()


def test_a_profile_of_version_1_is_still_read() -> None:
    # Version 1 knew no camera, plane, sharpness, colour and flicker.
    plain = replace(
        PROFILE, camera=CameraFacts(), lens=None, ground_map=None, sharpness=None, colour=(0.0, 0.0, 0.0), flicker=0.0,
        scale_from=ScaleFrom.NONE,
    )  # fmt: skip
    data = map_png(plain.even_light.level)
    text = profile_text(plain, "m.png", hashlib.sha256(data).hexdigest())
    old = re.sub(r"^(scale_from|colour|flicker) = .*\n", "", text.replace("version = 2", "version = 1"), flags=re.M)
    assert replace(parse_profile(old, lambda name: data, "p.toml"), even_light=plain.even_light) == plain


def test_digest_covers_what_changes_a_result_and_nothing_else() -> None:
    same = replace(PROFILE, made_at="2030-01-01T00:00:00Z", made_by="x", shot_sha256=("d" * 64,), level=0.1)
    assert profile_digest(same) == profile_digest(PROFILE)
    brighter = PROFILE.even_light.level.copy()
    brighter[3, 4, 1] += 2 / 65535
    others = [
        replace(PROFILE, px_per_mm=12.6),
        replace(PROFILE, camera=replace(PROFILE.camera, focal_35mm=52.0)),
        replace(PROFILE, ground_map=None),
        replace(PROFILE, marks=(replace(SPECK, answer="scratch"), SCRATCH, GLINT)),
        replace(PROFILE, marks=(SPECK, replace(SCRATCH, width_px=9.1), GLINT)),
        replace(PROFILE, even_light=replace(PROFILE.even_light, level=brighter)),
        replace(PROFILE, even_light=replace(PROFILE.even_light, width_px=1001)),
    ]
    assert len({profile_digest(p) for p in [PROFILE, *others]}) == len(others) + 1


def test_answers_stay_when_the_same_panel_is_calibrated_again() -> None:
    earlier = replace(PROFILE, marks=(replace(SPECK, answer="scratch"), SCRATCH))
    near, far = replace(SPECK, x_px=SPECK.x_px + 2, density=0.58), replace(SPECK, x_px=SPECK.x_px + 60)
    denser = replace(SPECK, density=1.2)
    again = carry_answers(earlier, replace(PROFILE, marks=(near, far, denser)))
    assert [m.answer for m in again.marks] == ["scratch", "", ""]
    resized = replace(PROFILE, even_light=replace(PROFILE.even_light, width_px=900))
    assert [m.answer for m in carry_answers(earlier, resized).marks] == ["", "", ""]


FORBIDDEN = re.compile(r"\b(clean|clear|cleared|pass|passed|passes|safe|ok|okay|free|approved)\b", re.I)


def test_the_person_is_told_what_was_found_and_what_is_missing(stand: Path) -> None:
    bad = measurement(
        px_per_mm=None, moved=(SPECK,), exposure_spread=1.4, panel_share=0.8, shot_sha256=("a" * 64, "b" * 64)
    )
    told = " ".join(calibration_lines(profile_of(bad, NOON), bad, "stand.toml", "stand-marks.png"))
    for words in (
        "2 blanks of 1000 x 760 pixels",
        "falls by 30%",
        "3 fixed marks found",
        "1 of which could be an insect",
        'open stand.toml and write "scratch" or "insect" as the answer of mark 1.',
        "1 speck in some of the blanks only (x 300 y 200)",
        "factor of 1.40",
        "fills 80%",
        "Two blanks only",
        "No scale in this profile: give --px-per-mm N",
    ):
        assert words in told
    good = calibration_lines(PROFILE, measurement(), "stand.toml", "stand-marks.png")
    assert len(good) == 5
    assert not FORBIDDEN.search(told + " ".join(good) + stand.read_text("utf-8"))


def test_an_answered_mark_is_not_shown_again() -> None:
    shot = Shot(np.full((760, 1000, 3), 180, np.uint8), "a" * 64, "blank.jpg")
    two = (SPECK, replace(SPECK, x_px=5.0, y_px=755.0), SCRATCH)
    sheet = mark_crops(shot, two, 12.5)
    assert (sheet.dtype, sheet.ndim, sheet.shape[2]) == (np.uint8, 3, 3)
    one = mark_crops(shot, (replace(SPECK, answer="scratch"), *two[1:]), 12.5)
    assert one.shape[1] < sheet.shape[1]
    assert mark_crops(shot, (replace(SPECK, answer="insect"), SCRATCH), None).shape == (0, 0, 3)
    answered = replace(PROFILE, marks=(replace(SPECK, answer="scratch"), SCRATCH, GLINT))
    assert "write" not in " ".join(calibration_lines(answered, measurement(), "stand.toml", "stand-marks.png"))


def test_crops_show_the_mark_at_its_place() -> None:
    pixels = np.full((760, 1000, 3), 45_000, np.uint16)
    pixels[196:205, 295:307] = (40_000, 3_000, 2_000)
    sheet = mark_crops(Shot(pixels, "a" * 64, "blank.tif"), (SPECK,), None)
    middle = sheet[12 + 100, 12 + 100]
    assert middle.tolist() == pytest.approx([40_000 >> 8, 3_000 >> 8, 2_000 >> 8], abs=8)
    assert sheet[12 + 10, 12 + 100].tolist() == pytest.approx([45_000 >> 8] * 3, abs=8)
