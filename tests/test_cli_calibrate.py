"""`calibrate` from the words typed to the files written."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageDraw

from calib.profile import load_profile
from cli.entry import run


def blank(path: Path, seed: int, mark: bool = True) -> Path:
    """An empty panel, darker to the right, with one dark spot of 1.5 mm at 20 px/mm."""
    noise = np.random.default_rng(seed).normal(0, 1.5, (600, 800, 3))
    picture = Image.fromarray(np.clip(np.linspace(200, 170, 800)[None, :, None] + noise, 0, 255).astype(np.uint8))
    if mark:
        ImageDraw.Draw(picture).ellipse((300, 200, 330, 230), fill=(40, 40, 40))
    picture.save(path)
    return path


def test_writes_a_profile_its_map_and_a_picture_of_its_doubtful_marks(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    blanks = [str(blank(tmp_path / f"{n}.png", n)) for n in range(2)]
    assert run(["calibrate", *blanks, "--out", str(tmp_path / "panel.toml"), "--px-per-mm", "20"]) == 0
    said = capsys.readouterr().out
    assert "2 blanks of 800 x 600 pixels" in said
    for name in ("panel.toml", "panel-level.png", "panel-marks.jpg"):
        assert (tmp_path / name).exists()
        assert f"Written: {tmp_path / name}" in said
    profile = load_profile(tmp_path / "panel.toml")
    assert profile.px_per_mm == 20
    assert len(profile.marks) == 1


def test_a_persons_answers_outlive_a_new_calibration(tmp_path: Path) -> None:
    words = ["calibrate", str(blank(tmp_path / "1.png", 1)), "--out", str(tmp_path / "panel.toml")]
    assert run(words) == 0
    text = (tmp_path / "panel.toml").read_text()
    assert 'answer = ""' in text
    (tmp_path / "panel.toml").write_text(text.replace('answer = ""', 'answer = "scratch"'))
    assert run(["calibrate", str(blank(tmp_path / "2.png", 2)), "--out", str(tmp_path / "panel.toml")]) == 0
    assert [mark.answer for mark in load_profile(tmp_path / "panel.toml").marks] == ["scratch"]


@pytest.mark.parametrize(
    ("content", "said"), [(b"", "empty"), (b"text", "b.jpg: "), (None, "b.jpg: The file is not there.")]
)
def test_a_blank_that_cannot_be_read_is_named_and_nothing_is_written(
    tmp_path: Path, content: bytes | None, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    if content is not None:
        (tmp_path / "b.jpg").write_bytes(content)
    words = [
        "calibrate",
        str(blank(tmp_path / "1.png", 1)),
        str(tmp_path / "b.jpg"),
        "--out",
        str(tmp_path / "panel.toml"),
    ]
    assert run(words) == 2
    assert said in capsys.readouterr().err
    assert not list(tmp_path.glob("panel*"))


def test_blanks_of_two_sizes_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Image.open(blank(tmp_path / "1.png", 1)).resize((400, 300)).save(tmp_path / "2.png")
    words = [str(tmp_path / "1.png"), str(tmp_path / "2.png"), "--out", str(tmp_path / "panel.toml")]
    assert run(["calibrate", *words]) == 2
    assert capsys.readouterr().err
    assert not list(tmp_path.glob("panel*"))


def test_a_file_that_is_no_profile_is_not_written_over(tmp_path: Path) -> None:
    (tmp_path / "panel.toml").write_bytes(b"shopping list")
    assert run(["calibrate", str(blank(tmp_path / "1.png", 1)), "--out", str(tmp_path / "panel.toml")]) == 2
    assert (tmp_path / "panel.toml").read_bytes() == b"shopping list"
    assert run(["calibrate", str(tmp_path / "1.png"), "--out", str(tmp_path / "no folder" / "panel.toml")]) == 2
