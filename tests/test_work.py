"""Deciding what is scored: the same tables however many work at it, wherever it was killed, and in whatever order files are found."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_engines import make_outcomes

from cli.batch.engines.cores import Cores
from cli.batch.reading import Reading
from cli.batch.sources import FileFacts, LocalFile, Source
from faked import everything, go, photographs, record, scorer, shot_cells
from vision.table import CANDIDATES, from_csv

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parent.parent


def many(folder: Path, number: int = 12) -> Path:
    """Photographs of which some are the same, some are broken, and some are both."""
    contents = [b"xx", b"x1", b"bad", b"x2", b"xx", b"xxx", b"bad", b"x3", b"x2", b"0", b"", b"x1"]
    return photographs(
        folder, **{f"s{n:03d}": contents[n % 12] + b"%d" % (n // 12) * (n // 12 % 3) for n in range(number)}
    )


class TestUntouchedFiles:
    def test_are_not_read_again(self, three: Path, out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        go(out, three)
        read: list[str] = []
        whole = LocalFile.read

        def noted(place: LocalFile) -> bytes:
            read.append(place.path.name)
            return whole(place)

        monkeypatch.setattr(LocalFile, "read", noted)
        go(out, three)
        assert read == ["b.jpg"]  # it failed before: what ailed it may be over
        go(out, three, rehash=True)
        assert sorted(read[1:]) == ["a.jpg", "b.jpg", "c.jpg"]

    @pytest.mark.parametrize("same_bytes", [True, False])
    def test_another_time_of_writing_means_reading_and_scoring_only_what_is_new(
        self, three: Path, out: Path, same_bytes: bool
    ) -> None:
        go(out, three)
        (three / "a.jpg").write_bytes(b"xx" if same_bytes else b"x9")
        os.utime(three / "a.jpg", ns=(1, 1))
        scored: list[str] = []
        go(out, three, score=scorer(scored=scored))
        assert ("a.jpg" in scored) is not same_bytes
        scored.clear()
        go(out, three, score=scorer(scored=scored))
        assert "a.jpg" not in scored

    def test_other_bytes_with_the_same_size_and_time_are_found_by_rehash(self, three: Path, out: Path) -> None:
        go(out, three)
        before = (three / "a.jpg").stat()
        (three / "a.jpg").write_bytes(b"x9")
        os.utime(three / "a.jpg", ns=(before.st_atime_ns, before.st_mtime_ns))
        go(out, three)
        assert len(from_csv(CANDIDATES, (out / "candidates.csv").read_bytes())) == 3
        go(out, three, rehash=True)
        assert len(from_csv(CANDIDATES, (out / "candidates.csv").read_bytes())) == 2

    def test_leave_tables_and_pages_as_they_stand(self, tmp_path: Path, out: Path) -> None:
        photos = photographs(tmp_path / "in", a=b"xx", c=b"x0")
        go(out, photos)
        stood = {name: (out / name).stat().st_mtime_ns for name in ("candidates.csv", "shots.csv", "index.html")}
        go(out, photos)
        assert stood == {name: (out / name).stat().st_mtime_ns for name in stood}
        (out / "index.html").unlink()
        go(out, photos)
        assert (out / "index.html").exists()


class TestTwins:
    def test_of_one_that_is_being_scored_wait_for_it(self, tmp_path: Path, out: Path) -> None:
        go(
            out,
            photographs(tmp_path / "in", a=b"xx", b=b"xx", c=b"xx"),
            make_engine=lambda m, b: Cores(make_outcomes, b, 2),
        )
        assert shot_cells(out, "duplicate_of") == {"a.jpg": "", "b.jpg": "a.jpg", "c.jpg": "a.jpg"}

    def test_are_scored_themselves_once_the_first_has_other_bytes(self, tmp_path: Path, out: Path) -> None:
        photos = photographs(tmp_path / "in", a=b"xx", b=b"xx")
        go(out, photos)
        (photos / "a.jpg").write_bytes(b"x-other")
        go(out, photos)
        assert shot_cells(out, "duplicate_of") == {"a.jpg": "", "b.jpg": ""}
        rows = from_csv(CANDIDATES, (out / "candidates.csv").read_bytes())
        assert [row[4] for row in rows] == ["a.jpg", "b.jpg", "b.jpg"]

    @settings(deadline=None, max_examples=15)
    @given(
        st.lists(
            st.dictionaries(st.sampled_from("abcd"), st.sampled_from([b"x", b"xx", b"bad"])), min_size=2, max_size=4
        )
    )
    def test_whatever_becomes_of_files_no_row_is_lost_or_doubled(
        self, tmp_path_factory: pytest.TempPathFactory, days: list[dict[str, bytes]]
    ) -> None:
        folder = tmp_path_factory.mktemp("days")
        photos, out = folder / "in", folder / "out"
        there: dict[str, bytes] = {}
        for number, day in enumerate(days):
            for name, data in day.items():
                photographs(photos, **{name: data})
                os.utime(photos / f"{name}.jpg", ns=(number, number))
            there |= day
            if not there:
                continue
            go(out, photos)
            twins, errors = shot_cells(out, "duplicate_of"), shot_cells(out, "error")
            assert list(twins) == [f"{name}.jpg" for name in sorted(there)]
            rows = [row[4] for row in from_csv(CANDIDATES, (out / "candidates.csv").read_bytes())]
            for name, data in there.items():
                shot = f"{name}.jpg"
                assert bool(errors[shot]) == (data == b"bad")
                # Its own flags, or those of a shot with the same bytes that has them.
                own = shot if not twins[shot] else twins[shot]
                assert there[own[0]] == data
                assert rows.count(own) == (0 if data == b"bad" else len(data))


class TestTheSameTables:
    def test_by_any_number_of_workers(self, tmp_path: Path) -> None:
        photos = many(tmp_path / "in", 36)
        go(tmp_path / "here", photos)
        for workers in (1, 3):
            out = tmp_path / str(workers)
            go(out, photos, make_engine=lambda m, b, n=workers: Cores(make_outcomes, b, n))
            assert everything(out) == everything(tmp_path / "here")

    def test_wherever_it_is_killed(self, tmp_path: Path) -> None:
        photos = many(tmp_path / "in", 36)
        go(tmp_path / "undisturbed", photos)
        out, dice = tmp_path / "out", random.Random(7)
        kills = 0
        for _ in range(12):
            process = start(out, photos)
            try:
                process.wait(dice.uniform(0.6, 1.6))
            except subprocess.TimeoutExpired:
                process.send_signal(signal.SIGKILL)
                process.wait()
                kills += 1
        go(out, photos)
        assert kills >= 3
        assert everything(out) == everything(tmp_path / "undisturbed")
        assert record(out)["finished"] is True

    @pytest.mark.parametrize("told", [signal.SIGTERM, signal.SIGHUP])
    def test_being_told_to_end_is_a_stop(self, tmp_path: Path, out: Path, told: signal.Signals) -> None:
        photos = many(tmp_path / "in", 36)
        process = start(out, photos, seconds=0.3)
        ledger = out / "shots.csv"
        end = time.monotonic() + 60
        while not (out / "log.jsonl").exists() or '"shot"' not in (out / "log.jsonl").read_text():
            assert time.monotonic() < end
            time.sleep(0.05)
        process.send_signal(told)
        assert process.wait(30) == 130
        assert ledger.exists()
        go(out, photos)
        go(tmp_path / "undisturbed", photos)
        assert everything(out) == everything(tmp_path / "undisturbed")

    def test_but_not_where_it_was_started_deaf_to_it(self, tmp_path: Path, out: Path) -> None:
        photos = many(tmp_path / "in", 12)
        before = signal.signal(signal.SIGHUP, signal.SIG_IGN)  # as nohup does; children inherit it
        try:
            process = start(out, photos, seconds=0.1)
        finally:
            signal.signal(signal.SIGHUP, before)
        while not (out / "log.jsonl").exists():
            time.sleep(0.05)
        process.send_signal(signal.SIGHUP)
        assert process.wait(60) == 0
        assert record(out)["finished"] is True


RUNNER = """
import sys
from pathlib import Path
from cli.entry import guarded
from faked import go, scorer
sys.exit(guarded(lambda: go(Path(sys.argv[1]), Path(sys.argv[2]), score=scorer(seconds=float(sys.argv[3]))) and 0))
"""


def start(out: Path, photos: Path, seconds: float = 0.02) -> subprocess.Popen[bytes]:
    words: Sequence[str] = [sys.executable, "-c", RUNNER, str(out), str(photos), str(seconds)]
    paths = os.pathsep.join([str(ROOT), str(ROOT / "tests")])
    return subprocess.Popen(words, env=os.environ | {"PYTHONPATH": paths}, stderr=subprocess.DEVNULL)


class TestReading:
    def test_a_file_that_never_comes_is_given_up(
        self, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, out: Path
    ) -> None:
        monkeypatch.setattr("cli.batch.reading.READING_LIMIT_S", 0.5)

        def hang(place: LocalFile) -> bytes:
            if place.path.name == "b.jpg":
                time.sleep(60)
            return place.path.read_bytes()

        monkeypatch.setattr(LocalFile, "read", hang)
        begun = time.monotonic()
        go(out, photographs(tmp_path / "in", a=b"x1", b=b"x2", c=b"x3"))
        assert time.monotonic() - begun < 20
        errors = shot_cells(out, "error")
        assert "could not be read within" in errors["b.jpg"]
        assert errors["a.jpg"] == errors["c.jpg"] == ""

    def test_a_place_that_fails_in_its_own_way_is_a_sentence(self) -> None:
        class Broken:
            name = "nowhere"

            def facts(self) -> FileFacts:
                return FileFacts(-1, "")

            def read(self) -> bytes:
                raise RuntimeError("the wire is cut")

        done: list[Any] = []
        reading = Reading(Source(Broken(), "a.jpg"), FileFacts(-1, ""), lambda: done.append(1))
        while reading.result is None:
            time.sleep(0.01)
        assert reading.result.error == "The file can't be read: the disk or the network reports an error."
        assert reading.result.sha256 == ""
