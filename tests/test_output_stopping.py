"""Where nothing may be written, one writer at a time, work that ends before its time, and the run's name."""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

import cli.batch.output
from cli.batch.ledger import Entry, Ledger
from cli.batch.output import WRITER, writing
from cli.batch.record import RunFacts
from cli.batch.sources import Photograph
from cli.exits import StoppedByUser, StoppedHalfWay
from faked import FACTS, OTHER_FACTS, everything, go, photographs, record, scorer, shot_cells, tables
from vision.errors import OutputInUse, OutputNotWritable, SpeckwiseError

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parent.parent


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
            with pytest.raises(StoppedHalfWay, match=r"The disk is full.* What is done stands whole, 2 shots in all"):
                go(out, three)
        assert list(shot_cells(out, "shot")) == ["a.jpg", "b.jpg"]
        assert record(out)["finished"] is False
        go(out, three)
        assert list(shot_cells(out, "shot")) == ["a.jpg", "b.jpg", "c.jpg"]
        assert record(out)["finished"] is True

    def test_a_fault_of_our_own_costs_its_shot_alone(self, three: Path, out: Path) -> None:
        def score(photograph: Photograph) -> Any:
            if photograph.shot == "a.jpg":
                raise ZeroDivisionError("oh")
            return scorer()(photograph)

        tally, _ = go(out, three, score=score)
        assert tally.failed == 2
        errors = shot_cells(out, "error")
        assert list(errors) == ["a.jpg", "b.jpg", "c.jpg"]
        assert "fault of its own (ZeroDivisionError: oh)" in errors["a.jpg"]
        assert errors["c.jpg"] == ""

    def test_what_can_not_be_put_down_stops_half_way(
        self, three: Path, out: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        add = Ledger.add

        def fail(ledger: Ledger, entry: Entry) -> Any:
            if entry.shot == "c.jpg":
                raise ZeroDivisionError("oh")
            return add(ledger, entry)

        with monkeypatch.context() as patched:
            patched.setattr(Ledger, "add", fail)
            with pytest.raises(StoppedHalfWay, match=r"fault of its own \(ZeroDivisionError: oh\)"):
                go(out, three)
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


# A shell starts what it runs in the background deaf to Ctrl-C, and children inherit that; a person's terminal does not.
RUNNER = """
import signal
import sys
signal.signal(signal.SIGINT, signal.default_int_handler)
from pathlib import Path
from cli.entry import guarded
from cli.batch.tell import Lines
from faked import go, scorer
sys.exit(guarded(lambda: go(
    Path(sys.argv[1]), Path(sys.argv[2]), score=scorer(seconds=float(sys.argv[3])), teller=Lines()) and 0))
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
        for _ in range(2):
            process.stdout.readline()
        process.send_signal(signal.SIGINT)
        _, errors = process.communicate(timeout=30)
        assert process.returncode == 130, errors
        assert "the same call goes on" in errors
        assert "Traceback" not in errors
        done = list(shot_cells(out, "shot"))
        assert done[:2] == ["s0.jpg", "s1.jpg"]
        assert len(done) < 6
        assert record(out)["finished"] is False
        again = start(out, photos, 0.0)
        again.communicate(timeout=30)
        assert again.returncode == 0
        undisturbed = tmp_path / "undisturbed"
        go(undisturbed, photos)
        assert everything(out) == everything(undisturbed)

    def test_as_an_exception_of_its_own(self, three: Path, out: Path) -> None:
        def score(photograph: Photograph) -> Any:
            raise KeyboardInterrupt

        with pytest.raises(StoppedByUser, match="stands whole, 0 shots in all"):
            go(out, three, score=score)
        assert tables(out)[1].count(b"\r\n") == 1

    def test_a_killed_run_loses_only_the_shot_at_hand(self, tmp_path: Path, out: Path) -> None:
        photos = photographs(tmp_path / "in", a=b"x0", b=b"xx0", c=b"xxx0")
        process = start(out, photos, 0.4)
        assert process.stdout is not None
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
