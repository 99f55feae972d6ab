"""The commands with the real pipeline: every kind of file has its row, and the same call gives the same bytes."""

from __future__ import annotations

import json
import struct
import zlib
from importlib import resources
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageDraw

from cli.entry import run
from vision.table import CANDIDATES, SHOTS, from_csv, to_frame

CENTRES_X, CENTRE_Y = (72, 172, 272), 130


def panel(size: tuple[int, int] = (400, 300), specks: int = 3, seed: int = 1) -> Image.Image:
    """A lit panel with round dark specks, 20 px/mm."""
    noise = np.random.default_rng(seed).normal(0, 1, (size[1], size[0], 3))
    picture = Image.fromarray(np.clip(205 + noise, 0, 255).astype(np.uint8))
    draw = ImageDraw.Draw(picture)
    for x in CENTRES_X[:specks]:
        draw.ellipse((x - 12, CENTRE_Y - 10, x + 12, CENTRE_Y + 10), fill=(60, 80, 50))
    return picture


@pytest.fixture
def ranker(tmp_path: Path) -> Path:
    """The one that comes along, as a file of a person's own."""
    path = tmp_path / "ranker.json"
    path.write_bytes(resources.files("vision.rankers").joinpath("drawn.json").read_bytes())
    return path


def huge_png() -> bytes:
    """A PNG of 40000 x 25000 by its header, without a picture in it."""
    head = struct.pack(">IIBBBBB", 40000, 25000, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + b"IHDR" + head + struct.pack(">I", zlib.crc32(b"IHDR" + head))


GOOD = ["IMG_1.png", "=1+1.png", 'it\'s "so".png', "תמונה 🐛.jpg", "a" * 251 + ".jpg", "no specks.png"]
BROKEN = ["empty.jpg", "truncated.jpg", "text.jpg", "huge.png"]
UNUSUAL = ["1x1.png", "black.png", "white.png"]


@pytest.fixture
def photos(tmp_path: Path) -> Path:
    folder = tmp_path / "in"
    folder.mkdir()
    for number, name in enumerate(GOOD):
        panel(specks=0 if name == "no specks.png" else 3, seed=number).save(folder / name, quality=95)
    (folder / "empty.jpg").write_bytes(b"")
    (folder / "truncated.jpg").write_bytes((folder / "תמונה 🐛.jpg").read_bytes()[:4000])
    (folder / "text.jpg").write_bytes(b"Dear diary")
    (folder / "huge.png").write_bytes(huge_png())
    Image.new("RGB", (1, 1), (200, 200, 200)).save(folder / "1x1.png")
    Image.new("RGB", (320, 240), (0, 0, 0)).save(folder / "black.png")
    Image.new("RGB", (320, 240), (255, 255, 255)).save(folder / "white.png")
    return folder


def test_every_file_has_its_row_and_its_pictures(
    tmp_path: Path, photos: Path, ranker: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out"
    words = ["score", str(photos), "--out", str(out), "--px-per-mm", "20", "--min-score", "0", "--ranker", str(ranker)]
    assert run(words) == 1
    errors = capsys.readouterr().err
    shots = to_frame(SHOTS, from_csv(SHOTS, (out / "shots.csv").read_bytes())).set_index("shot")
    assert list(shots.index) == sorted(GOOD + BROKEN + UNUSUAL)
    failed = set(shots.index[shots["error"] != ""])
    assert set(BROKEN) <= failed <= {*BROKEN, *UNUSUAL}
    for name in failed:
        assert f"{name}: {shots.loc[name, 'error']}" in errors
    assert str(shots["candidates"].dtype) == "Int64"
    for name in ("black.png", "white.png"):
        assert shots.loc[name, "error"] != "" or shots.loc[name, "usable"] == "no"

    candidates = to_frame(CANDIDATES, from_csv(CANDIDATES, (out / "candidates.csv").read_bytes()))
    assert str(candidates["candidate"].dtype) == "Int64"
    for name in GOOD:
        listed = candidates[candidates["shot"] == name]
        assert len(listed) == shots.loc[name, "candidates"]
        for x in [] if name == "no specks.png" else CENTRES_X:
            here = listed[np.hypot(listed["x_px"] - x, listed["y_px"] - CENTRE_Y) < 1]
            # 25 px across at 20 px/mm, and as the edges are hard no less sure than half a pixel on each side.
            assert abs(here.iloc[0]["max_feret_mm"] - 25 / 20) < 1 / 20
    page = (out / "index.html").read_text(encoding="utf-8")
    assert "0 flagged. That is not a finding of none." in page
    for name in ("=1+1.png", "תמונה 🐛.jpg"):
        assert name in page
    assert len(list((out / "pictures").glob("*.jpg"))) == 2 * (len(GOOD + UNUSUAL) - len(failed & set(UNUSUAL)))
    record = json.loads((out / "run.json").read_text(encoding="utf-8"))
    assert record["finished"] is True
    assert record["counts"]["failed"] == len(failed)


def test_the_same_call_gives_the_same_bytes(tmp_path: Path, ranker: Path) -> None:
    photos = tmp_path / "in"
    photos.mkdir()
    panel().save(photos / "a.jpg")
    panel(seed=2).save(photos / "b.png")
    (photos / "c.jpg").write_bytes(b"")
    words = ["score", str(photos), "--px-per-mm", "20", "--quiet", "--ranker", str(ranker)]
    for name in ("one", "two"):
        run([*words, "--out", str(tmp_path / name)])
    for table in ("candidates.csv", "shots.csv"):
        assert (tmp_path / "one" / table).read_bytes() == (tmp_path / "two" / table).read_bytes()
    assert (tmp_path / "one" / "index.html").read_bytes() == (tmp_path / "two" / "index.html").read_bytes()


def test_a_panel_profile_serves_shots_of_its_size_alone(tmp_path: Path) -> None:
    for number in range(2):
        panel(specks=0, seed=10 + number).save(tmp_path / f"blank{number}.png")
    profile = tmp_path / "panel.toml"
    blanks = [str(tmp_path / f"blank{number}.png") for number in range(2)]
    assert run(["calibrate", *blanks, "--out", str(profile), "--px-per-mm", "20"]) == 0
    folder = tmp_path / "in"
    folder.mkdir()
    panel().save(folder / "a.png")
    panel(size=(420, 300)).save(folder / "b.png")
    out = tmp_path / "out"
    assert run(["score", str(folder), "--out", str(out), "--panel", str(profile), "--min-score", "0"]) == 1
    shots = to_frame(SHOTS, from_csv(SHOTS, (out / "shots.csv").read_bytes())).set_index("shot")
    assert shots.loc["a.png", "error"] == ""
    assert shots.loc["a.png", "scale_from"] == "profile"
    assert shots.loc["a.png", "candidates"] >= 3
    assert "400 x 300" in shots.loc["b.png", "error"]
    assert json.loads((out / "run.json").read_text())["profile_sha256"]


def test_a_ranker_or_profile_that_is_none_is_refused_with_nothing_written(tmp_path: Path, photos: Path) -> None:
    for option in ("--ranker", "--panel"):
        assert run(["score", str(photos), "--out", str(tmp_path / "out"), option, str(photos / "text.jpg")]) == 2
    assert not (tmp_path / "out").exists()
