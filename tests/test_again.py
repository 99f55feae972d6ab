"""`score --again`: a recorded run once more, from its run.json alone."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from cli.batch.repeat import read_record
from cli.entry import run
from cli.options import ScoreOptions, as_given_before
from faked import everything, fake_scoring, photographs
from vision.errors import CallError

Say = pytest.CaptureFixture[str]


@pytest.fixture
def scored(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder that has been scored."""
    fake_scoring(monkeypatch)
    photos = photographs(tmp_path / "in", a=b"xx", b=b"bad", c=b"x0")
    assert run(["score", str(photos), "--out", str(tmp_path / "out"), "--px-per-mm", "20", "--quiet"]) == 1
    return tmp_path / "out"


def again(scored: Path, *words: str) -> int:
    return run(["score", "--again", str(scored / "run.json"), *words])


class TestAgreeing:
    def test_says_so_and_leaves_the_old_run_as_it_is(self, scored: Path, capsys: Say) -> None:
        (scored.parent / "in" / "b.jpg").unlink()
        before = everything(scored)
        capsys.readouterr()
        assert again(scored) == 1
        said = capsys.readouterr().out
        assert "do not agree" in said
        assert "b.jpg" in said
        assert everything(scored) == before

    def test_byte_for_byte_ends_in_0(self, tmp_path: Path, scored: Path, capsys: Say) -> None:
        photos = photographs(tmp_path / "good", a=b"xx", c=b"x0")
        assert run(["score", str(photos), "--out", str(tmp_path / "o2"), "--px-per-mm", "20"]) == 0
        capsys.readouterr()
        assert again(tmp_path / "o2") == 0
        said = capsys.readouterr().out
        assert "The tables agree byte for byte." in said
        # What is thrown away is not recommended to anybody.
        assert "Look at" not in said
        assert not list(Path("/tmp").glob("speckwise-again-*/results/run.json"))

    def test_into_a_folder_that_stays(self, tmp_path: Path, scored: Path, capsys: Say) -> None:
        assert again(scored, "--out", str(tmp_path / "kept")) == 1  # b.jpg fails as it did before
        assert "The tables agree byte for byte." in capsys.readouterr().out
        assert (tmp_path / "kept" / "candidates.csv").read_bytes() == (scored / "candidates.csv").read_bytes()

    def test_photographs_that_have_moved_are_named(self, tmp_path: Path, scored: Path, capsys: Say) -> None:
        (tmp_path / "in").rename(tmp_path / "moved")
        assert again(scored) == 2
        assert "can't be found" in capsys.readouterr().err
        again(scored, str(tmp_path / "moved"))
        assert "The tables agree byte for byte." in capsys.readouterr().out

    def test_another_photograph_is_found(self, tmp_path: Path, scored: Path, capsys: Say) -> None:
        (tmp_path / "in" / "a.jpg").write_bytes(b"xxx")
        assert again(scored) == 1
        said = capsys.readouterr().out
        assert "The tables do not agree" in said
        assert "a.jpg" in said


class TestRefused:
    @pytest.mark.parametrize("words", [["--px-per-mm", "9"], ["--produce", "broccoli"], ["--max-flags", "3"]])
    def test_options_that_change_a_result(self, scored: Path, capsys: Say, words: list[str]) -> None:
        assert again(scored, *words) == 2
        assert "from the record: leave the others out" in capsys.readouterr().err

    def test_the_folder_of_the_run_itself(self, scored: Path, capsys: Say) -> None:
        before = everything(scored)
        assert again(scored, "--out", str(scored)) == 2
        assert "holds the run that is to be repeated" in capsys.readouterr().err
        assert everything(scored) == before

    def test_the_folder_that_holds_an_earlier_run(self, scored: Path, capsys: Say) -> None:
        photos = str(scored.parent / "in")
        run(["score", photos, "--out", str(scored), "--px-per-mm", "10", "--force"])
        (earlier,) = (scored / "earlier").iterdir()
        assert again(earlier, "--out", str(scored)) == 2
        capsys.readouterr()
        again(earlier)
        assert "The tables agree byte for byte." in capsys.readouterr().out

    @pytest.mark.parametrize(
        "text", ["", "[]", "{}", '{"app": "another"}', "\xff", '{"app": "speckwise", "run": "r1"}']
    )
    def test_what_is_no_record(self, tmp_path: Path, capsys: Say, text: str) -> None:
        (tmp_path / "run.json").write_text(text, encoding="latin-1")
        assert run(["score", "--again", str(tmp_path / "run.json")]) == 2
        assert re.search(r"is no run\.json of this program|can't be repeated", capsys.readouterr().err)

    def test_what_is_not_there(self, tmp_path: Path, capsys: Say) -> None:
        assert run(["score", "--again", str(tmp_path / "run.json")]) == 2
        assert "can't be read: No such file" in capsys.readouterr().err

    def test_a_record_of_other_options(self, scored: Path, capsys: Say) -> None:
        told = json.loads((scored / "run.json").read_text())
        told["call"]["magic"] = 3
        (scored / "run.json").write_text(json.dumps(told))
        assert again(scored) == 2
        assert "which had other options" in capsys.readouterr().err

    def test_a_table_that_a_person_has_written_in(self, scored: Path, capsys: Say) -> None:
        with (scored / "candidates.csv").open("ab") as file:
            file.write(b"mine\r\n")
        assert again(scored) == 2
        assert "candidates.csv" in capsys.readouterr().err


def test_score_without_paths_or_out_says_what_is_missing(tmp_path: Path, capsys: Say) -> None:
    assert run(["score"]) == 2
    assert "PATH is missing" in capsys.readouterr().err
    assert run(["score", str(tmp_path)]) == 2
    assert "--out is missing" in capsys.readouterr().err


def test_options_come_back_as_they_were_given(tmp_path: Path) -> None:
    panel = tmp_path / "panel.toml"
    panel.write_text("")
    options = ScoreOptions(panel, None, "0,0,100,0,5", "broccoli", "water", "both", 0.4, 9)
    assert as_given_before(json.loads(json.dumps(options.as_given()))) == options
    panel.unlink()
    with pytest.raises(CallError, match="no file"):
        as_given_before(options.as_given())


def test_a_record_tells_what_was_asked(scored: Path) -> None:
    told = read_record(scored / "run.json")
    assert told["call"]["px_per_mm"] == 20.0
    assert told["paths"] == [str(scored.parent / "in")]
    assert {"machine", "workers", "times", "counts", "failures", "tables", "packages"} <= set(told)
