"""The output folder: completing, refusing, moving to earlier/, and a person's words, which nothing rewrites."""

from __future__ import annotations

import errno
import json
import multiprocessing
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest

import cli.batch.output
import cli.batch.run
from cli.batch.folder import Source, find_sources
from cli.batch.output import LOCK, WRITER, writing
from cli.batch.record import RunFacts
from cli.batch.run import score_into
from cli.batch.tell import Quiet, Tally
from cli.exits import StoppedByUser, StoppedHalfWay
from faked import FACTS, OTHER_FACTS, RUN, no_pages, photographs, scorer
from vision.errors import OutputInUse, OutputNotWritable, SpeckwiseError
from vision.table import CANDIDATES, SHOTS, from_csv

ROOT = Path(__file__).parent.parent


def go(
    out: Path, *paths: Path, facts: RunFacts = FACTS, score: Callable[[Source], Any] | None = None, force: bool = False
) -> tuple[Tally, list[str]]:
    return score_into(
        out, find_sources(paths, out), score or scorer(facts.run), facts, Quiet(), no_pages, force=force, told={"x": 1}
    )


def everything(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name not in {LOCK, "run.json", ".ledger.jsonl"}
    }


def tables(folder: Path) -> tuple[bytes, bytes]:
    return (folder / "candidates.csv").read_bytes(), (folder / "shots.csv").read_bytes()


def record(folder: Path) -> dict[str, Any]:
    return dict(json.loads((folder / "run.json").read_text()))


def shot_cells(folder: Path, column: str) -> dict[str, str]:
    names = [each.name for each in SHOTS]
    rows = from_csv(SHOTS, (folder / "shots.csv").read_bytes())
    return {row[0]: row[names.index(column)] for row in rows}


@pytest.fixture
def three(tmp_path: Path) -> Path:
    return photographs(tmp_path / "in", a=b"xx", b=b"bad", c=b"x0")


@pytest.fixture
def out(tmp_path: Path) -> Path:
    return tmp_path / "out"


class TestWhatIsWritten:
    def test_the_folder_of_the_contract(self, three: Path, out: Path) -> None:
        go(out, three)
        visible = {path.name for path in out.iterdir() if path.name[0] != "."}
        assert visible == {"candidates.csv", "shots.csv", "run.json", "index.html", "pictures"}
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

    def test_a_line_cut_short_by_a_power_cut_is_passed_over(self, three: Path, out: Path) -> None:
        go(out, three)
        before = everything(out)
        ledger = out / ".ledger.jsonl"
        ledger.write_bytes(ledger.read_bytes()[:-40])
        go(out, three)
        scored: list[str] = []
        go(out, three, score=scorer(scored=scored))
        assert scored == ["b.jpg"]
        assert everything(out) == before


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

        def score(source: Source) -> Any:
            words.append(self.fill_in(out))
            return scorer()(source)

        go(out, three, score=score)
        assert (out / "candidates.csv").read_bytes() == words[-1]

    def test_a_table_of_ours_is_known_after_a_power_cut_between_table_and_record(
        self, three: Path, out: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        go(out, three)
        (three / "d.jpg").write_bytes(b"x9999")
        write = cli.batch.output.write_bytes

        def cut_off(path: Path, data: bytes) -> None:
            if path.name == "shots.csv":
                raise SpeckwiseError("cut off")
            write(path, data)

        with monkeypatch.context() as patched:
            patched.setattr(cli.batch.output, "write_bytes", cut_off)
            with pytest.raises(StoppedHalfWay, match="cut off"):
                go(out, three)
        go(out, three)
        assert not list(out.glob("*-r*.csv"))
        assert list(shot_cells(out, "shot")) == ["a.jpg", "b.jpg", "c.jpg", "d.jpg"]


class TestForeignFiles:
    def test_are_not_touched(self, three: Path, out: Path) -> None:
        out.mkdir()
        (out / "shopping.txt").write_bytes(b"salt")
        go(out, three)
        go(out, three, facts=OTHER_FACTS, force=True)
        assert (out / "shopping.txt").read_bytes() == b"salt"

    @pytest.mark.parametrize("name", ["index.html", "shots.csv", "run.json", "pictures/holiday.jpg"])
    @pytest.mark.parametrize("force", [False, True])
    def test_under_our_names_are_refused(self, three: Path, out: Path, name: str, force: bool) -> None:
        (out / name).parent.mkdir(parents=True, exist_ok=True)
        (out / name).write_bytes(b"{}")
        before = everything(out)
        with pytest.raises(OutputInUse, match=name.split("/")[0]):
            go(out, three, force=force)
        assert everything(out) == before


class TestNotWritable:
    def test_a_file_in_place_of_the_folder_or_above_it(self, three: Path, tmp_path: Path) -> None:
        (tmp_path / "file").write_bytes(b"")
        for out in (tmp_path / "file", tmp_path / "file" / "out"):
            with pytest.raises(OutputNotWritable):
                go(out, three)
        assert (tmp_path / "file").read_bytes() == b""

    def test_a_read_only_place(self, three: Path) -> None:
        with pytest.raises(OutputNotWritable):
            go(Path("/proc/speckwise-out"), three)

    def test_a_folder_that_takes_no_files_stays_empty(
        self, three: Path, out: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def refuse(path: Path, value: Any) -> None:
            raise OutputNotWritable("The disk is read-only.")

        monkeypatch.setattr(cli.batch.output, "write_json", refuse)
        with pytest.raises(OutputNotWritable):
            go(out, three)
        assert not out.exists()

    def test_a_full_disk_stops_half_way_and_the_same_call_goes_on(
        self, three: Path, out: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        write = cli.batch.output.write_bytes

        def full(path: Path, data: bytes) -> None:
            if path.suffix == ".jpg" and data == b"x0":
                raise SpeckwiseError("The disk is full: c.jpg could not be written.")
            write(path, data)

        with monkeypatch.context() as patched:
            patched.setattr(cli.batch.output, "write_bytes", full)
            with pytest.raises(StoppedHalfWay, match=r"The disk is full.* 2 of 3 shots stand"):
                go(out, three)
        assert list(shot_cells(out, "shot")) == ["a.jpg", "b.jpg"]
        assert record(out)["finished"] is False
        go(out, three)
        assert list(shot_cells(out, "shot")) == ["a.jpg", "b.jpg", "c.jpg"]
        assert record(out)["finished"] is True

    def test_a_fault_of_our_own_leaves_what_stands(self, three: Path, out: Path) -> None:
        def score(source: Source) -> Any:
            if source.shot == "c.jpg":
                raise ZeroDivisionError("oh")
            return scorer()(source)

        with pytest.raises(StoppedHalfWay, match=r"fault of its own \(ZeroDivisionError: oh\)"):
            go(out, three, score=score)
        assert list(shot_cells(out, "shot")) == ["a.jpg", "b.jpg"]


def hold(out: str, ready: Any, release: Any) -> None:
    with writing(Path(out), FACTS):
        ready.set()
        release.wait(30)


class TestOneWriterAtATime:
    def test_the_second_is_told_of_the_first(self, three: Path, out: Path) -> None:
        spawn = multiprocessing.get_context("spawn")
        ready, release = spawn.Event(), spawn.Event()
        holder = spawn.Process(target=hold, args=(str(out), ready, release))
        holder.start()
        assert ready.wait(30)
        with pytest.raises(OutputInUse, match=f"process {holder.pid} on "):
            go(out, three)
        assert not (out / "run.json").exists()
        # Killed, not ended: the lock it leaves behind must not block.
        holder.kill()
        holder.join(30)
        assert (out / WRITER).exists()
        go(out, three)
        assert not (out / WRITER).exists()


RUNNER = """
import sys
from pathlib import Path
import cli.batch.run
from cli.entry import guarded
from cli.batch.folder import find_sources
from cli.batch.tell import Lines
from faked import FACTS, no_pages, scorer
out = Path(sys.argv[1])
sys.exit(guarded(lambda: cli.batch.run.score_into(
    out, find_sources([Path(sys.argv[2])], out), scorer(seconds=float(sys.argv[3])), FACTS, Lines(), no_pages) and 0))
"""


def start(out: Path, photos: Path, seconds: float) -> subprocess.Popen[str]:
    words: Sequence[str] = [sys.executable, "-u", "-c", RUNNER, str(out), str(photos), str(seconds)]
    paths = os.pathsep.join([str(ROOT), str(ROOT / "tests")])
    return subprocess.Popen(
        words, env=os.environ | {"PYTHONPATH": paths}, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )


class TestStoppedByThePerson:
    def test_ctrl_c_keeps_what_is_done_and_the_same_call_goes_on(self, tmp_path: Path, out: Path) -> None:
        photos = photographs(tmp_path / "in", **{f"s{n}": b"x" * n + b"%d" % n for n in range(6)})
        process = start(out, photos, 0.4)
        assert process.stdout is not None
        lines = [process.stdout.readline() for _ in range(3)]
        process.send_signal(signal.SIGINT)
        _, errors = process.communicate(timeout=30)
        assert process.returncode == 130, errors
        assert "the same call goes on" in errors
        assert "Traceback" not in errors
        done = list(shot_cells(out, "shot"))
        assert done[: len(lines) - 1] == ["s0.jpg", "s1.jpg"]
        assert len(done) < 6
        assert record(out)["finished"] is False
        again = start(out, photos, 0.0)
        again.communicate(timeout=30)
        assert again.returncode == 0
        undisturbed = tmp_path / "undisturbed"
        go(undisturbed, photos)
        assert everything(out) == everything(undisturbed)

    def test_as_an_exception_of_its_own(self, three: Path, out: Path) -> None:
        def score(source: Source) -> Any:
            raise KeyboardInterrupt

        with pytest.raises(StoppedByUser, match="0 of 3 shots"):
            go(out, three, score=score)
        assert tables(out)[1].count(b"\r\n") == 1

    def test_a_killed_run_loses_only_the_shot_at_hand(self, tmp_path: Path, out: Path) -> None:
        photos = photographs(tmp_path / "in", a=b"x0", b=b"xx0", c=b"xxx0")
        process = start(out, photos, 0.4)
        assert process.stdout is not None
        for _ in range(2):
            process.stdout.readline()
        process.kill()
        process.communicate(timeout=30)
        scored: list[str] = []
        go(out, photos, score=scorer(scored=scored))
        assert "a.jpg" not in scored
        assert list(shot_cells(out, "shot")) == ["a.jpg", "b.jpg", "c.jpg"]


class TestTheRunsName:
    def test_changes_with_all_that_changes_a_result_and_nothing_else(self) -> None:
        base = RunFacts(options={"px_per_mm": 20.0})
        assert base.run == RunFacts(options={"px_per_mm": 20.0}).run
        assert base.run[0] == "r"
        assert len(base.run) == 13
        assert int(base.run[1:], 16) >= 0
        others = [
            RunFacts(options={"px_per_mm": 20.5}),
            RunFacts(options={"px_per_mm": 20.0}, profile_sha256="0"),
            RunFacts(options={"px_per_mm": 20.0}, guide_sha256="0"),
            RunFacts(options={"px_per_mm": 20.0}, ranker_sha256="0"),
            RunFacts(options={"px_per_mm": 20.0}, version="9"),
            RunFacts(options={"px_per_mm": 20.0}, packages={"numpy": "9"}),
        ]
        assert len({each.run for each in [base, *others]}) == len(others) + 1
