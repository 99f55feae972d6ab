"""The profile's file: written, read, answered in, refused with a sentence; and what the person is told."""

from __future__ import annotations

import hashlib
import re
import struct
import tomllib
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from calib.panel import PanelMeasurement
from calib.panel_report import calibration_lines, mark_crops
from calib.profile import (
    Profile,
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
from vision.errors import ProfileError
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


@pytest.fixture
def stand(tmp_path: Path) -> Path:
    path, _ = write_profile(PROFILE, tmp_path / "stand.toml")
    return path


def answer(path: Path, word: str) -> None:
    """What a person does: the first empty answer filled in."""
    path.write_text(path.read_text("utf-8").replace('answer = ""', f'answer = "{word}"', 1), "utf-8")


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


def edit(old: str, new: str) -> Callable[[Path], None]:
    def change(path: Path) -> None:
        text = path.read_text("utf-8")
        changed = re.sub(old, new, text, count=1, flags=re.M)
        assert changed != text
        path.write_text(changed, "utf-8")

    return change


def other_map(make: Callable[[], bytes]) -> Callable[[Path], None]:
    """Another map, with its hash put right."""

    def change(path: Path) -> None:
        data = make()
        (path.parent / "stand-level.png").write_bytes(data)
        edit('^map_sha256 = "[0-9a-f]+"', f'map_sha256 = "{hashlib.sha256(data).hexdigest()}"')(path)

    return change


def png(pixels: Any) -> bytes:
    return bytes(cv2.imencode(".png", pixels)[1].tobytes())


def _cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-20])


def _without(path: Path, table: str) -> None:
    text = path.read_text("utf-8")
    path.write_text(re.sub(rf"^\[{table}\]\n(.+\n)+", "", text, flags=re.M), "utf-8")


HUGE = b"\x89PNG\r\n\x1a\n" + struct.pack(">I4sIIBBBBB", 13, b"IHDR", 60000, 60000, 16, 2, 0, 0, 0) + b"\0" * 9

DAMAGE: list[tuple[str, Callable[[Path], Any], str]] = [
    ("gone", lambda p: p.unlink(), r"stand\.toml could not be read\. "),
    ("empty", lambda p: p.write_bytes(b""), "could not be read"),
    ("folder", lambda p: (p.unlink(), p.mkdir()), "could not be read"),
    ("picture", lambda p: p.write_bytes(b"\x89PNG\xff\xfe"), "it is no text"),
    ("cut off", lambda p: p.write_text(p.read_text("utf-8")[:-30], "utf-8"), "mark 3"),
    (
        "cut in a line",
        lambda p: p.write_text(p.read_text("utf-8")[:-3], "utf-8"),
        "not a panel profile, or was damaged",
    ),
    ("not toml", lambda p: p.write_text("a,b\n1,2\n"), "not a panel profile, or was damaged"),
    ("deep", lambda p: p.write_text("a = " + "[" * 100_000), "not a panel profile, or was damaged"),
    ("long number", lambda p: p.write_text("a = " + "9" * 10_000), "not a panel profile, or was damaged"),
    ("too large", lambda p: p.write_bytes(b"#" * (6 << 20)), "could not be read"),
    ("other toml", lambda p: p.write_text("[project]\nname = 'x'\n"), "its format is not"),
    ("format", edit("^format = .*", "format = 3"), "its format is not"),
    ("newer", edit("^version = 2", "version = 3"), "version 3; this program reads up to 2"),
    ("version 0", edit("^version = 2", "version = 0"), "below 1"),
    ("version true", edit("^version = 2", "version = true"), "version in the file"),
    ("no version", edit("^version = 2", ""), "version in the file is missing"),
    ("extra", edit("^made_by", "hello = 1\nmade_by"), "'hello' that is not known"),
    ("no time", edit("^made_at.*", ""), "made_at in the file is missing"),
    ("no picture", edit(r"^\[picture\]", "[pictures]"), r"\[picture\] is missing"),
    ("width text", edit("^width_px = 1000", 'width_px = "1000"'), r"width_px in \[picture\]"),
    ("width float", edit("^width_px = 1000", "width_px = 1000.5"), r"width_px in \[picture\]"),
    ("width zero", edit("^width_px = 1000", "width_px = 0"), r"width_px in \[picture\] is not a number from 1"),
    ("scale nan", edit("^px_per_mm = 12.5", "px_per_mm = nan"), r"px_per_mm in \[picture\] is not a number"),
    ("scale below 0", edit("^px_per_mm = 12.5", "px_per_mm = -3"), r"px_per_mm in \[picture\] is not a number"),
    ("scale 1e400", edit("^px_per_mm = 12.5", "px_per_mm = inf"), r"px_per_mm in \[picture\] is not a number"),
    ("scale of another", edit("^px_per_mm = 12.5", "px_per_mm = 14.0"), r"to_mm in \[ground\] says 12.5 px/mm"),
    ("scale gone", edit("^px_per_mm = 12.5.*", ""), r"scale_from in \[picture\]"),
    ("scale by nobody", edit('^scale_from = "slip"', 'scale_from = "guess"'), r"scale_from in \[picture\]"),
    ("camera list", edit('^make = "Maker"', "make = [1]"), r"make in \[camera\]"),
    ("camera name", edit('^make = "Maker"', 'make = "' + "x" * 900 + '"'), r"make in \[camera\] is no name"),
    ("focal below 0", edit("^focal_mm = 6.8", "focal_mm = -6.8"), r"focal_mm in \[camera\]"),
    ("camera entry", edit('^make = "Maker"', 'make = "Maker"\nplace = "51 N"'), "'place' that is not known"),
    ("lens nan", edit("^k1 = -0.02", "k1 = nan"), r"k1 in \[lens\]"),
    ("lens folds", edit("^k1 = -0.02", "k1 = -9.9"), r"to_mm in \[ground\] is no view"),
    ("lens gone", lambda p: _without(p, "lens"), r"\[ground\] wants its \[lens\]"),
    ("focal tiny", edit("^focal_px = 900.0", "focal_px = 1e-9"), r"focal_px in \[lens\]"),
    (
        "plane singular",
        edit(r"^to_mm = \[.*\]", "to_mm = [0, 0, 0, 0, 0, 0, 0, 0, 1]"),
        r"to_mm in \[ground\] is no view",
    ),
    (
        "plane nan",
        edit(r"^to_mm = \[.*\]", "to_mm = [nan, 0, 0, 0, 0.08, 0, 0, 0, 1]"),
        r"to_mm in \[ground\] is not a number",
    ),
    ("plane behind", edit(r"^to_mm = \[.*\]", "to_mm = [0.08, 0, 0, 0, 0.08, 0, -0.002, 0, 1]"), "no view of a plane"),
    ("plane short", edit(r"^to_mm = \[.*\]", "to_mm = [1, 2, 3]"), "list of 9 numbers"),
    ("spread negative", edit(r"^covariance = \[1e-08", "covariance = [-1e-2"), "is no covariance"),
    ("spread short", edit(r"^covariance = \[1e-08, ", "covariance = ["), "list of 64 numbers"),
    ("plane no table", edit(r"^\[ground\]", "[[ground]]"), r"\[ground\] is missing or is no table"),
    ("blur zero", edit("^blur_px = 0.9", "blur_px = 0"), r"blur_px in \[sharpness\]"),
    ("sharp text", edit("^sharpened = true", 'sharpened = "yes"'), r"sharpened in \[sharpness\]"),
    ("colour two", edit(r"^colour = \[.*\]", "colour = [0.5, 0.5]"), "list of 3 numbers"),
    ("flicker big", edit("^flicker = 0.012", "flicker = 1e9"), r"flicker in \[light\]"),
    ("no blanks", edit(r"^sha256 = \[[^\]]*\]", "sha256 = []"), r"sha256 in \[blanks\]"),
    ("blank number", edit(r"^sha256 = \[[^\]]*\]", "sha256 = [1]"), r"sha256 in \[blanks\]"),
    ("level below 0", edit("^level = .*", "level = -0.1"), r"level in \[light\] is not a number from 0 to 1"),
    ("level nan", edit("^level = .*", "level = nan"), r"level in \[light\]"),
    ("noise two", edit("^noise = .*", "noise = [0.1, 0.2]"), "list of 3 numbers"),
    ("noise true", edit("^noise = .*", "noise = [true, 0.1, 0.2]"), r"noise in \[light\]"),
    ("binary", lambda p: p.write_bytes(bytes(range(256)) * 4), "it is no text"),
    ("map cut", lambda p: _cut(p.parent / "stand-level.png"), "was changed"),
    ("map empty", lambda p: (p.parent / "stand-level.png").write_bytes(b""), "stand-level.png"),
    ("map gone", lambda p: (p.parent / "stand-level.png").unlink(), "needs its map stand-level.png beside it"),
    ("map elsewhere", edit("^map = .*", 'map = "../stand-level.png"'), "not the plain name"),
    ("map unnamed", edit("^map = .*", 'map = ""'), "not the plain name"),
    (
        "map changed",
        lambda p: (p.parent / "stand-level.png").write_bytes(png(np.ones((5, 5, 3), np.uint16))),
        "was changed",
    ),
    ("map hash", edit('^map_sha256 = "..', 'map_sha256 = "xx'), "was changed"),
    ("map scale", edit("^map_scale = 65535", "map_scale = 0"), "map_scale"),
    ("map too bright", edit("^map_scale = 65535", "map_scale = 1000"), r"holds light outside 0\.\.1"),
    ("map 8 bit", other_map(lambda: png(np.full((48, 63, 3), 99, np.uint8))), "not a 16-bit PNG"),
    ("map grey", other_map(lambda: png(np.full((48, 63), 999, np.uint16))), "not a 16-bit PNG"),
    ("map black", other_map(lambda: png(np.zeros((48, 63, 3), np.uint16))), r"outside 0\.\.1"),
    ("map huge", other_map(lambda: HUGE), "not a 16-bit PNG"),
    ("map text", other_map(lambda: b"hello"), "not a 16-bit PNG"),
    ("mark outside", edit("^x_px = 300.5", "x_px = 1000.0"), "x_px in mark 1 is not a number from -0.5 to 999.5"),
    ("mark nan", edit("^y_px = 410.5", "y_px = nan"), "y_px in mark 2"),
    ("mark radius", edit("^radius_px = 14.2", "radius_px = 0"), "radius_px in mark 1"),
    ("mark digits", edit("^radius_px = 14.2", "radius_px = " + "9" * 400), "radius_px in mark 1"),
    ("mark dropped", edit("^density = 0.12", ""), "density in mark 2"),
    ("mark misspelt", edit('^answer = ""', 'anser = "scratch"\nanswer = ""'), "'anser' that is not known"),
    ("answer", edit('^answer = ""', 'answer = "yes"'), "the answer of mark 1 is 'yes'"),
    ("answer bare", edit('^answer = ""', "answer = scratch"), "not a panel profile, or was damaged"),
    ("answer true", edit('^answer = ""', "answer = true"), "answer in mark 1"),
    ("doubtful text", edit("^doubtful = true", 'doubtful = "no"'), "doubtful in mark 1"),
    (
        "marks no list",
        lambda p: p.write_text("mark = 3\n" + p.read_text("utf-8").split("\n[[mark]]")[0], "utf-8"),
        "no list",
    ),
]


@pytest.mark.parametrize(("damage", "said"), [d[1:] for d in DAMAGE], ids=[d[0] for d in DAMAGE])
def test_a_profile_that_is_not_sound_is_refused_with_a_sentence(
    stand: Path, damage: Callable[[Path], Any], said: str
) -> None:
    damage(stand)
    with pytest.raises(ProfileError, match=said) as refused:
        load_profile(stand)
    assert "stand" in str(refused.value)
    assert str(refused.value).endswith((".", ")"))


@settings(max_examples=250, deadline=None)
@given(place=st.integers(0, 5200), new=st.text(max_size=3), drop=st.integers(0, 30))
def test_a_hand_edited_profile_is_read_or_refused_and_never_fails_otherwise(place: int, new: str, drop: int) -> None:
    data = map_png(PROFILE.even_light.level)
    text = profile_text(PROFILE, "m.png", hashlib.sha256(data).hexdigest())
    edited = text[:place] + new + text[place + drop :]
    with suppress(ProfileError):
        assert isinstance(parse_profile(edited, lambda name: data, "p.toml"), Profile)


def test_a_byte_order_mark_and_windows_line_ends_do_no_harm(stand: Path) -> None:
    stand.write_bytes(b"\xef\xbb\xbf" + stand.read_bytes().replace(b"\n", b"\r\n"))
    assert profile_digest(load_profile(stand)) == profile_digest(PROFILE)


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
