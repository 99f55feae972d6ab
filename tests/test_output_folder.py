"""The output folder: completing, refusing, moving to earlier/, and a person's words, which nothing rewrites."""

from __future__ import annotations

import errno
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

import cli.batch.output
from cli.batch.sources import Photograph
from cli.batch.standing import LEDGER
from cli.exits import StoppedHalfWay
from faked import OTHER_FACTS, RUN, everything, go, photographs, record, scorer, shot_cells, tables
from vision.errors import OutputInUse, OutputNotWritable, SpeckwiseError
from vision.files import PASSING, Staged
from vision.table import CANDIDATES, SHOTS, from_csv


class TestWhatIsWritten:
    def test_the_folder_of_the_contract(self, three: Path, out: Path) -> None:
        go(out, three)
        visible = {path.name for path in out.iterdir() if path.name[0] != "."}
        assert visible == {"candidates.csv", "shots.csv", "run.json", "log.jsonl", "index.html", "pictures"}
        assert len(from_csv(CANDIDATES, tables(out)[0])) == 3
        assert list(shot_cells(out, "error")) == ["a.jpg", "b.jpg", "c.jpg"]

    def test_the_record_is_read_back(self, three: Path, out: Path) -> None:
        go(out, three)
        told = record(out)
        assert told["run"] == RUN
        assert told["finished"] is True
        assert told["counts"]["failed"] == 1
        assert told["failures"] == [{"shot": "b.jpg", "error": "This is not a picture."}]
        assert set(told["packages"]) == {"numpy", "scipy", "opencv", "scikit-image", "Pillow"}
        assert all(told["packages"].values())
        assert told["tables"]["candidates"] == {
            "file": "candidates.csv",
            "sha256": cli.batch.output.digest_of(out / "candidates.csv"),
        }
        for key in ("started_at", "finished_at"):
            time.strptime(told[key], "%Y-%m-%dT%H:%M:%SZ")

    def test_no_flags_is_a_table_with_its_header(self, tmp_path: Path, out: Path) -> None:
        tally, _ = go(out, photographs(tmp_path / "in", a=b"0"))
        assert from_csv(CANDIDATES, tables(out)[0]) == []
        assert any("0 flagged. That is not a finding of none." in line for line in tally.closing_lines())

    def test_the_same_bytes_under_two_names_are_scored_once(self, tmp_path: Path, out: Path) -> None:
        scored: list[str] = []
        go(out, photographs(tmp_path / "in", a=b"xx", b=b"0", z=b"xx"), score=scorer(scored=scored))
        assert scored == ["a.jpg", "b.jpg"]
        assert shot_cells(out, "duplicate_of") == {"a.jpg": "", "b.jpg": "", "z.jpg": "a.jpg"}
        assert {row[4] for row in from_csv(CANDIDATES, tables(out)[0])} == {"a.jpg"}

    def test_a_twin_of_a_broken_file_is_broken_too(self, tmp_path: Path, out: Path) -> None:
        go(out, photographs(tmp_path / "in", a=b"bad", b=b"bad"))
        assert set(shot_cells(out, "error").values()) == {"This is not a picture."}


class TestCompleting:
    def test_what_stands_is_not_scored_again(self, three: Path, out: Path) -> None:
        go(out, three)
        before = everything(out)
        scored: list[str] = []
        tally, _ = go(out, three, score=scorer(scored=scored))
        assert scored == ["b.jpg"]  # it failed, so it is tried again
        assert tally.kept == 2
        assert everything(out) == before

    def test_new_shots_are_added_and_rows_of_other_paths_are_kept(self, tmp_path: Path, three: Path, out: Path) -> None:
        go(out, three)
        go(out, photographs(tmp_path / "more", n=b"xxx"))
        assert list(shot_cells(out, "shot")) == ["a.jpg", "b.jpg", "c.jpg", "n.jpg"]
        assert [row[4] for row in from_csv(CANDIDATES, tables(out)[0])] == ["a.jpg"] * 2 + ["c.jpg"] + ["n.jpg"] * 3

    def test_a_repaired_file_replaces_its_failure(self, three: Path, out: Path) -> None:
        go(out, three)
        (three / "b.jpg").write_bytes(b"xxxx")
        tally, _ = go(out, three)
        assert not tally.failed
        assert shot_cells(out, "error") == {"a.jpg": "", "b.jpg": "", "c.jpg": ""}

    def test_a_photograph_that_was_taken_again_replaces_the_old_one(self, three: Path, out: Path) -> None:
        go(out, three)
        (three / "a.jpg").write_bytes(b"x00000")
        go(out, three)
        assert [row[4] for row in from_csv(CANDIDATES, tables(out)[0])] == ["a.jpg", "c.jpg"]

    def test_another_photograph_of_the_same_name_does_not(self, tmp_path: Path, out: Path) -> None:
        go(out, photographs(tmp_path / "monday", a=b"xx"))
        go(out, photographs(tmp_path / "tuesday", a=b"x"))
        assert len(from_csv(SHOTS, tables(out)[1])) == 2
        assert len(from_csv(CANDIDATES, tables(out)[0])) == 3

    def test_a_shot_whose_picture_is_gone_is_scored_again(self, three: Path, out: Path) -> None:
        go(out, three)
        before = everything(out)
        next((out / "pictures").iterdir()).unlink()
        go(out, three)
        assert everything(out) == before

    def test_a_twin_that_comes_first_by_name_leaves_the_scored_one_its_rows(self, tmp_path: Path, out: Path) -> None:
        folder = photographs(tmp_path / "in", m=b"xx")
        go(out, folder)
        go(out, photographs(folder, a=b"xx"))
        assert shot_cells(out, "duplicate_of") == {"a.jpg": "m.jpg", "m.jpg": ""}
        (folder / "m.jpg").write_bytes(b"other")
        go(out, folder)
        assert shot_cells(out, "duplicate_of") == {"a.jpg": "", "m.jpg": ""}
        assert [row[4] for row in from_csv(CANDIDATES, tables(out)[0])] == ["a.jpg", "a.jpg"]

    def test_a_ledger_that_is_damaged_is_said_and_nothing_is_written_over_it(self, three: Path, out: Path) -> None:
        go(out, three)
        before = everything(out)
        ledger = out / LEDGER
        ledger.write_bytes(b"not a ledger" * 999)
        with pytest.raises(OutputNotWritable, match=r"is damaged: score the photographs into another folder"):
            go(out, three)
        assert everything(out) == before
        assert ledger.read_bytes() == b"not a ledger" * 999

    def test_an_entry_whose_power_was_cut_is_scored_again(self, three: Path, out: Path) -> None:
        go(out, three)
        before = everything(out)
        # What a writer leaves that was cut off in the middle: pages changed, and a journal that tells how they were.
        code = CUT_OFF.format(path=str(out / LEDGER))
        assert subprocess.run([sys.executable, "-c", code]).returncode == -signal.SIGKILL
        assert (out / f"{LEDGER}-journal").stat().st_size > 0
        scored: list[str] = []
        go(out, three, score=scorer(scored=scored))
        assert scored == ["b.jpg"]
        assert everything(out) == before

    def test_what_a_killed_writer_left_under_passing_names_is_taken_away(self, three: Path, out: Path) -> None:
        go(out, three)
        told = record(out) | {"finished": False}
        (out / "run.json").write_text(json.dumps(told))
        left = [out / f".0123456789abcdef{PASSING}", out / "pictures" / "00001" / f".fedcba9876543210{PASSING}"]
        for path in left:
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(b"half")
        go(out, three)
        assert not [path for path in left if path.exists()]


# cache_spill has the pages written before the end of the change, as a change too large for memory would.
CUT_OFF = """
import os, signal, sqlite3
db = sqlite3.connect({path!r}, isolation_level=None)
db.executescript("PRAGMA journal_mode = TRUNCATE; PRAGMA cache_size = 1; PRAGMA cache_spill = 1; BEGIN IMMEDIATE")
for n in range(300):
    db.execute("UPDATE shots SET rest = ? WHERE shot = 'a.jpg'", ("x" * 9000 + str(n),))
    db.execute("INSERT INTO shots SELECT run, shot || ?, sha256, path, size_bytes, changed, error, duplicate_of, files, told, rest, belongs"
               " FROM shots WHERE shot = 'a.jpg'", (str(n),))
os.kill(os.getpid(), signal.SIGKILL)
"""


class TestAnotherRun:
    def test_is_refused_with_nothing_written(self, three: Path, out: Path) -> None:
        go(out, three)
        before = everything(out)
        with pytest.raises(OutputInUse, match=f"{RUN}.*--force"):
            go(out, three, facts=OTHER_FACTS)
        assert everything(out) == before

    def test_that_began_between_the_look_and_the_lock_is_refused(
        self, three: Path, out: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        locked = cli.batch.output._locked

        def late(folder: Path) -> Any:
            folder.mkdir()
            (folder / "run.json").write_text(json.dumps({"app": "speckwise", "run": "r0"}))
            return locked(folder)

        monkeypatch.setattr(cli.batch.output, "_locked", late)
        with pytest.raises(OutputInUse, match="run r0"):
            go(out, three)

    def test_goes_to_earlier_whole_with_force(self, three: Path, out: Path) -> None:
        go(out, three)
        old = everything(out)
        go(out, three, facts=OTHER_FACTS, force=True)
        assert everything(out / "earlier" / RUN) == old
        assert record(out / "earlier" / RUN)["run"] == RUN
        assert record(out)["run"] == OTHER_FACTS.run
        go(out, three, force=True)
        go(out, three, facts=OTHER_FACTS, force=True)
        assert {path.name for path in (out / "earlier").iterdir()} == {RUN, f"{RUN}-2", OTHER_FACTS.run}

    def test_force_on_the_same_run_completes_it(self, three: Path, out: Path) -> None:
        go(out, three)
        scored: list[str] = []
        go(out, three, score=scorer(scored=scored), force=True)
        assert scored == ["b.jpg"]
        assert not (out / "earlier").exists()

    def test_a_move_that_was_cut_off_goes_on(self, three: Path, out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        go(out, three)
        old = everything(out)
        replace, calls = os.replace, []

        def cut_off(source: Any, target: Any) -> None:
            calls.append(source)
            if len(calls) == 3:
                raise OSError(errno.EIO, "cut off")
            replace(source, target)

        with monkeypatch.context() as patched:
            patched.setattr("cli.batch.output.os.replace", cut_off)
            with pytest.raises(OSError, match="cut off"):
                go(out, three, facts=OTHER_FACTS, force=True)
        go(out, three, facts=OTHER_FACTS, force=True)
        assert everything(out / "earlier" / RUN) == old
        assert [path.name for path in (out / "earlier").iterdir()] == [RUN]

    def test_the_store_of_answers_is_not_touched(self, three: Path, out: Path) -> None:
        go(out, three)
        (out / "decisions.sqlite").write_bytes(b"answers")
        go(out, three, facts=OTHER_FACTS, force=True)
        assert (out / "decisions.sqlite").read_bytes() == b"answers"
        assert not (out / "earlier" / RUN / "decisions.sqlite").exists()


class TestAPersonsWords:
    def fill_in(self, out: Path) -> bytes:
        words = (out / "candidates.csv").read_bytes().replace(b"tool,", b"tool,insect", 1)
        (out / "candidates.csv").write_bytes(words)
        return words

    def test_stay_and_the_new_table_goes_beside_them(self, three: Path, out: Path) -> None:
        go(out, three)
        table = tables(out)[0]
        words = self.fill_in(out)
        for _ in range(2):
            _, notices = go(out, three)
            assert (out / "candidates.csv").read_bytes() == words
            assert (out / f"candidates-{RUN}.csv").read_bytes() == table
            assert record(out)["tables"]["candidates"]["file"] == f"candidates-{RUN}.csv"
            assert any("stays as it is" in notice and f"candidates-{RUN}.csv" in notice for notice in notices)
        (out / f"candidates-{RUN}.csv").write_bytes(b"also a person's")
        go(out, three)
        assert (out / f"candidates-{RUN}.csv").read_bytes() == b"also a person's"
        assert (out / f"candidates-{RUN}-2.csv").read_bytes() == table

    def test_stay_under_force_and_a_copy_travels(self, three: Path, out: Path) -> None:
        go(out, three)
        words = self.fill_in(out)
        go(out, three, facts=OTHER_FACTS, force=True)
        assert (out / "candidates.csv").read_bytes() == words
        assert (out / "earlier" / RUN / "candidates.csv").read_bytes() == words
        assert len(from_csv(CANDIDATES, (out / f"candidates-{OTHER_FACTS.run}.csv").read_bytes())) == 3

    def test_stay_when_no_record_tells_of_them(self, three: Path, out: Path) -> None:
        out.mkdir()
        (out / "candidates.csv").write_bytes(b"mine")
        go(out, three)
        assert (out / "candidates.csv").read_bytes() == b"mine"
        assert len(from_csv(CANDIDATES, (out / f"candidates-{RUN}.csv").read_bytes())) == 3

    def test_written_while_the_run_goes_on_stay(self, three: Path, out: Path) -> None:
        go(out, three)
        (three / "d.jpg").write_bytes(b"x9999")
        words: list[bytes] = []

        def score(photograph: Photograph) -> Any:
            words.append(self.fill_in(out))
            return scorer()(photograph)

        go(out, three, score=score)
        assert (out / "candidates.csv").read_bytes() == words[-1]

    def test_a_table_of_ours_is_known_after_a_power_cut_between_table_and_record(
        self, three: Path, out: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        go(out, three)
        (three / "d.jpg").write_bytes(b"x9999")
        put = Staged.put

        def cut_off(staged: Staged) -> None:
            if staged.path.name == "shots.csv":
                raise SpeckwiseError("cut off")
            put(staged)

        with monkeypatch.context() as patched:
            patched.setattr(Staged, "put", cut_off)
            with pytest.raises(StoppedHalfWay, match="cut off"):
                go(out, three)
        go(out, three)
        assert not list(out.glob("*-r*.csv"))
        assert list(shot_cells(out, "shot")) == ["a.jpg", "b.jpg", "c.jpg", "d.jpg"]
