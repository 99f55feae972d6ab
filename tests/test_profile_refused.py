"""A profile's file that is not sound is refused with a sentence; what an editor does to it does no harm."""

from __future__ import annotations

import hashlib
import re
import struct
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_profiles import PROFILE

from calib.profile import (
    Profile,
    load_profile,
    profile_digest,
)
from calib.profile_read import parse_profile
from calib.profile_text import map_png, profile_text
from vision.errors import ProfileError


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
