"""The commands from the words typed to the lines said, with the scoring of a shot faked."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

import cli.entry
from cli.batch.tell import Bar, Lines, Quiet, teller
from cli.batch.told import ShotTold, Tally
from cli.entry import run
from cli.options import ScoreOptions, ruler_px_per_mm
from cli.words import count, printable
from faked import fake_scoring, photographs
from vision.errors import CallError


@pytest.fixture
def fake(monkeypatch: pytest.MonkeyPatch) -> list[ScoreOptions]:
    return fake_scoring(monkeypatch)


class TestScore:
    def test_says_what_came_of_it_and_ends_in_0(
        self, tmp_path: Path, fake: list[ScoreOptions], capsys: pytest.CaptureFixture[str]
    ) -> None:
        photos = photographs(tmp_path / "in", a=b"xx", b=b"0")
        assert run(["score", str(photos), "--out", str(tmp_path / "out")]) == 0
        said = capsys.readouterr()
        assert said.err == ""
        # Photographs are counted while the first are scored: when that is said, and whether before the end, is chance.
        assert [line for line in said.out.splitlines() if line != "2 photographs found."] == [
            "a.jpg: 2 flagged",
            "b.jpg: 0 flagged",
            "2 shots scored, 2 specks flagged on 1 of them.",
            "On average 10 flags for a sample of ten shots.",
            "A person answers for every flag; the supervising authority decides.",
            f"Look at {tmp_path / 'out' / 'index.html'}",
            f"Answer for every flag: speckwise review {tmp_path / 'out'}",
        ]

    def test_a_shot_that_fails_is_named_and_ends_in_1(
        self, tmp_path: Path, fake: list[ScoreOptions], capsys: pytest.CaptureFixture[str]
    ) -> None:
        photos = photographs(tmp_path / "in", a=b"xx", b=b"bad")
        assert run(["score", str(photos), "--out", str(tmp_path / "out"), "--quiet"]) == 1
        said = capsys.readouterr()
        assert said.err == "b.jpg: This is not a picture.\n"
        assert "1 shot could not be scored: b.jpg." in said.out
        assert "a.jpg: 2 flagged" not in said.out

    def test_no_flags_is_not_a_finding_of_none(
        self, tmp_path: Path, fake: list[ScoreOptions], capsys: pytest.CaptureFixture[str]
    ) -> None:
        run(["score", str(photographs(tmp_path / "in", a=b"0")), "--out", str(tmp_path / "out")])
        assert "0 flagged. That is not a finding of none." in capsys.readouterr().out

    def test_options_arrive(self, tmp_path: Path, fake: list[ScoreOptions]) -> None:
        (tmp_path / "panel.toml").write_text("")
        words = ["--px-per-mm", "20", "--produce", "broccoli", "--ground", "water", "--lit", "both"]
        words += ["--min-score", "0.4", "--max-flags", "9"]
        words += ["--panel", str(tmp_path / "panel.toml")]
        photos = photographs(tmp_path / "in", a=b"0")
        assert run(["score", str(photos), "--out", str(tmp_path / "out"), *words]) == 0
        assert fake == [ScoreOptions(tmp_path / "panel.toml", 20, None, "broccoli", "water", "both", 0.4, 9)]
        told = json.loads((tmp_path / "out" / "run.json").read_text())
        assert told["paths"] == [str(photos)]

    def test_another_run_is_refused_and_moved_with_force(
        self, tmp_path: Path, fake: list[ScoreOptions], capsys: pytest.CaptureFixture[str]
    ) -> None:
        words = ["score", str(photographs(tmp_path / "in", a=b"0")), "--out", str(tmp_path / "out")]
        assert run([*words, "--px-per-mm", "20"]) == 0
        assert run([*words, "--px-per-mm", "10"]) == 2
        assert "--force" in capsys.readouterr().err
        assert run([*words, "--px-per-mm", "10", "--force"]) == 0
        assert len(list((tmp_path / "out" / "earlier").iterdir())) == 1

    def test_a_hand_filled_table_is_told_of(
        self, tmp_path: Path, fake: list[ScoreOptions], capsys: pytest.CaptureFixture[str]
    ) -> None:
        words = ["score", str(photographs(tmp_path / "in", a=b"x")), "--out", str(tmp_path / "out")]
        assert run(words) == 0
        (tmp_path / "out" / "candidates.csv").write_bytes(b"mine")
        assert run(words) == 0
        assert re.search(r"candidates\.csv .* stays as it is; the new table is candidates-r", capsys.readouterr().err)

    def test_two_builds_of_opencv_are_told_of_and_the_work_goes_on(
        self,
        tmp_path: Path,
        fake: list[ScoreOptions],
        monkeypatch: pytest.MonkeyPatch,
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        monkeypatch.setattr(cli.entry, "two_opencvs", lambda: "Two are installed.")
        assert run(["score", str(photographs(tmp_path / "in", a=b"x")), "--out", str(tmp_path / "out")]) == 0
        assert capsys.readouterr().err == "speckwise: Two are installed.\n"


class TestDemo:
    def test_scores_the_samples_and_says_where_to_look(
        self,
        tmp_path: Path,
        fake: list[ScoreOptions],
        monkeypatch: pytest.MonkeyPatch,
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        samples = photographs(tmp_path / "sample_images", a=b"xx", b=b"0")
        (samples / "scenario.toml").write_text("px_per_mm = 20.0\n")
        monkeypatch.setattr("importlib.resources.files", lambda name: tmp_path / name)
        monkeypatch.chdir(tmp_path)
        assert run(["demo"]) == 0
        said = capsys.readouterr().out
        for place in ("index.html", "pictures", "candidates.csv", "shots.csv"):
            assert str(Path("speckwise-demo") / place) in said
        assert fake == [ScoreOptions(px_per_mm=20)]
        assert run(["demo", "--out", "elsewhere", "--quiet"]) == 0
        assert (tmp_path / "elsewhere" / "run.json").exists()


class TestGuides:
    def test_are_listed_and_printed(self, capsys: pytest.CaptureFixture[str]) -> None:
        assert run(["guides"]) == 0
        assert "broccoli" in capsys.readouterr().out
        assert run(["guides", "broccoli"]) == 0
        assert "Prepare" in capsys.readouterr().out


class TestWords:
    def test_a_shot_in_one_line(self) -> None:
        assert ShotTold("a.jpg", 3).line == "a.jpg: 3 flagged"
        assert ShotTold("a.jpg", 3, usable=False, reasons="Blurred.").line == "a.jpg: 3 flagged; take again: Blurred."
        assert ShotTold("a.jpg", 0, error="It is empty.").line == "a.jpg: It is empty."
        assert "the same picture as b.jpg" in ShotTold("a.jpg", 0, duplicate_of="b.jpg").line

    def test_control_characters_do_not_reach_the_terminal(self) -> None:
        assert printable("a\x1b[31m\nb.jpg") == "a\\x1b[31m\\nb.jpg"
        assert printable("תמונה 🐛.jpg") == "תמונה 🐛.jpg"

    def test_plurals(self) -> None:
        assert [count(n, "shot") for n in (0, 1, 2)] == ["0 shots", "1 shot", "2 shots"]

    def test_many_failures_are_named_in_part(self) -> None:
        tally = Tally([ShotTold(f"{n}.jpg", 0, error="Broken.") for n in range(30)])
        line = next(line for line in tally.closing_lines() if "could not" in line)
        assert line.endswith("9.jpg and 20 more (see shots.csv).")

    def test_flags_are_told_for_a_sample_of_ten_shots(self) -> None:
        shots = [
            ShotTold("a.jpg", 3),
            ShotTold("b.jpg", 1),
            ShotTold("c.jpg", 40, blank=True),
            ShotTold("d.jpg", 0, error="No."),
        ]
        assert "On average 20 flags for a sample of ten shots." in Tally(shots).closing_lines()
        assert not any("ten shots" in line for line in Tally(shots[2:]).closing_lines())

    def test_what_the_limit_left_out_is_said(self) -> None:
        shots = [ShotTold("a.jpg", 3, left_out=5), ShotTold("b.jpg", 3, left_out=2), ShotTold("c.jpg", 1)]
        tally = Tally(shots)
        assert "5 more left out by --max-flags" in shots[0].line
        (line,) = [line for line in tally.closing_lines() if "Left out" in line]
        assert line.startswith("Left out by --max-flags: 7 more, on a.jpg, b.jpg.")
        assert tally.counts()["left_out"] == 7

    def test_the_right_teller(self, monkeypatch: pytest.MonkeyPatch) -> None:
        assert isinstance(teller(quiet=True), Quiet)
        assert isinstance(teller(quiet=False), Lines)
        monkeypatch.setattr("sys.stdout.isatty", lambda: True)
        assert isinstance(teller(quiet=False), Bar)

    def test_the_bar_counts_and_shows_what_went_wrong(
        self, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:
        monkeypatch.setenv("TTY_COMPATIBLE", "1")
        monkeypatch.setenv("COLUMNS", "100")
        bar = Bar()
        bar.total(2)
        bar.shot(ShotTold("[red].jpg", 0, error="It is empty."))
        bar.shot(ShotTold("b.jpg", 3))
        bar.end()
        said = capsys.readouterr().out
        assert "[red].jpg: It is empty." in said
        assert "2/2" in said
        assert "3 flagged, 1 failed" in said


class TestRuler:
    def test_two_points_and_a_length(self) -> None:
        # A triangle of sides 3, 4 and 5: 500 px over 25 mm.
        assert ruler_px_per_mm("100,200,400,600,25") == pytest.approx(20.0)
        assert ruler_px_per_mm(None) is None

    @pytest.mark.parametrize(
        "ruler", ["", "1,2,3", "1,2,3,4,x", "5,5,5,5,10", "0,0,9,9,0", "0,0,9,9,-3", "nan,0,9,9,3"]
    )
    def test_anything_else_is_refused(self, ruler: str) -> None:
        with pytest.raises(CallError, match="--ruler"):
            ScoreOptions(ruler=ruler)

    def test_two_scales_are_refused(self) -> None:
        with pytest.raises(CallError, match="both give the scale"):
            ScoreOptions(px_per_mm=20.0, ruler="0,0,100,0,5")
