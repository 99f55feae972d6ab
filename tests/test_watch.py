"""Watching a folder, from a photograph's arrival to its line, the page, ledger and tables; stopped, killed and gone on with.

The scoring is a stand-in, and files count as calm sooner than for a person: what takes how long in truth stands in test_watch_command.py.
"""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from watching_folder import BROKEN, ByHand, Watching, data, next_line, start

import cli.batch.arrivals
import cli.batch.live
import cli.batch.watching
from cli.batch.ledger import Ledger
from cli.batch.standing import LEDGER
from cli.exits import StoppedByUser, StoppedHalfWay
from faked import RUN, go, record, scorer, shot_cells
from vision.complete import Complete
from vision.errors import DiskFull
from vision.words import NONE_FLAGGED


@pytest.fixture(autouse=True)
def hurried(monkeypatch: pytest.MonkeyPatch) -> None:
    """A file is calm soon, and so is the folder."""
    monkeypatch.setattr(cli.batch.arrivals, "LOOK_EVERY_S", 0.02)
    monkeypatch.setattr(cli.batch.arrivals, "CALM_S", 0.05)
    monkeypatch.setitem(cli.batch.arrivals._STANDS_S, Complete.YES, 0.05)
    monkeypatch.setattr(cli.batch.watching, "_CALM_BEFORE_TABLES_S", 0.2)


@pytest.fixture
def arriving(tmp_path: Path) -> Path:
    """The folder that is watched."""
    folder = tmp_path / "in"
    folder.mkdir()
    return folder


@pytest.fixture
def watching(arriving: Path, out: Path) -> Watching:
    """Somebody who watches, and scores in this process."""
    scored: list[str] = []
    return Watching(arriving, out, scorer(scored=scored), scored=scored)


def rows_in_ledger(out: Path) -> list[tuple[str, int]]:
    """Shots and their flags, as they stand one under the other."""
    ledger = Ledger(out / LEDGER, RUN)
    try:
        return sorted((entry.shot, len(entry.candidates)) for entry in ledger)
    finally:
        ledger.close()


def times_in_ledger(out: Path) -> list[str]:
    """When each file was written, as far as the ledger knows."""
    ledger = Ledger(out / LEDGER, RUN)
    try:
        return [entry.changed for entry in ledger]
    finally:
        ledger.close()


class TestFromArrivalToTables:
    def test_a_shot_is_told_in_the_ledger_and_on_the_page_at_once_and_in_the_tables_when_it_is_calm(
        self, watching: Watching, capsys: pytest.CaptureFixture[str]
    ) -> None:
        out = watching.out

        def script(w: Watching) -> Iterator[None]:
            yield from w.until_calm()
            assert (out / "shots.csv").read_bytes().count(b"\r\n") == 1
            w.put("a.jpg", data(2))
            yield from w.until_told("a.jpg")
            yield from w.until(lambda: "a.jpg" in (out / "now.html").read_text())
            assert rows_in_ledger(out) == [("a.jpg", 2)]
            assert shot_cells(out, "shot") == {}
            assert "a.jpg: Keep this shot. 2 flagged." in capsys.readouterr().out
            yield from w.until_calm()
            assert list(shot_cells(out, "shot")) == ["a.jpg"]
            assert record(out)["finished"] is False

        watching.run(script)
        assert record(out)["counts"]["flagged"] == 2
        assert watching.scored == ["a.jpg"]

    def test_nothing_is_written_while_nothing_comes(self, watching: Watching) -> None:
        def script(w: Watching) -> Iterator[None]:
            yield from w.until_calm()
            written = (watching.out / "shots.csv").stat().st_mtime_ns
            yield from w.for_some_time(0.6)
            assert w.pages == 1
            assert (watching.out / "shots.csv").stat().st_mtime_ns == written

        watching.run(script)

    def test_while_shots_keep_coming_tables_are_written_all_the_same(
        self, watching: Watching, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(cli.batch.watching, "_CALM_BEFORE_TABLES_S", 60.0)
        monkeypatch.setattr(cli.batch.watching, "_LONGEST_WITHOUT_TABLES_S", 0.3)
        monkeypatch.setattr(cli.batch.watching, "_TABLES_SHARE_OF_TIME", 1.0)

        def script(w: Watching) -> Iterator[None]:
            for number in range(3):
                w.put(f"{number}.jpg", data(1, str(number)))
                yield from w.until_calm()
            assert shot_cells(w.out, "shot")

        watching.run(script)

    def test_one_that_can_not_be_read_is_told_and_holds_up_nothing(
        self, watching: Watching, capsys: pytest.CaptureFixture[str]
    ) -> None:
        def script(w: Watching) -> Iterator[None]:
            w.put("a.jpg", BROKEN)
            yield from w.until_told("a.jpg")
            assert "This is not a picture." in (w.out / "now.html").read_text()
            w.put("b.jpg", data(0))
            yield from w.until_told("b.jpg")

        watching.run(script)
        told = capsys.readouterr()
        assert "a.jpg: Not scored. This is not a picture.\n" in told.err
        assert f"b.jpg: Keep this shot. {NONE_FLAGGED}" in told.out

    def test_the_page_ends_with_the_watching(self, watching: Watching) -> None:
        def script(w: Watching) -> Iterator[None]:
            yield from w.until(lambda: (w.out / "now.html").exists())
            assert "Watching ended" not in (w.out / "now.html").read_text()

        watching.run(script)
        assert "Watching ended" in (watching.out / "now.html").read_text()

    def test_a_clock_that_is_set_back_changes_nothing_but_what_it_shows(
        self, watching: Watching, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def script(w: Watching) -> Iterator[None]:
            w.put("a.jpg", data(1))
            yield from w.until_told("a.jpg")
            now = time.time
            monkeypatch.setattr(time, "time", lambda: now() - 86400)
            w.put("b.jpg", data(2))
            os.utime(w.arriving / "b.jpg", (now() - 86400, now() - 86400))
            yield from w.until_told("b.jpg")
            yield from w.until_calm()

        watching.run(script)
        assert list(shot_cells(watching.out, "shot")) == ["a.jpg", "b.jpg"]


class TestAnotherOneOfTheSameName:
    """Cameras begin again at IMG_0001, and people may have answered on the photograph of before."""

    def test_leaves_the_old_one_where_it_stands_and_says_so(
        self, watching: Watching, capsys: pytest.CaptureFixture[str]
    ) -> None:
        def script(w: Watching) -> Iterator[None]:
            w.put("a.jpg", data(1))
            yield from w.until_told("a.jpg")
            w.put("a.jpg", data(3))
            yield from w.until_calm()

        watching.run(script)
        assert rows_in_ledger(watching.out) == [("a.jpg", 1), ("a.jpg", 3)]
        assert (watching.out / "shots.csv").read_bytes().count(b"a.jpg") == 2
        assert "An earlier photograph called a.jpg stays as well." in capsys.readouterr().out
        # Nor does the next call, of either command, take it for something that is to be scored or away.
        watching.run(lambda w: w.for_some_time())
        go(watching.out, watching.arriving)
        assert rows_in_ledger(watching.out) == [("a.jpg", 1), ("a.jpg", 3)]
        assert watching.scored == ["a.jpg", "a.jpg"]

    @pytest.mark.parametrize("old", [b"dim x" + b"." * 80, BROKEN])
    def test_takes_the_place_of_one_that_was_to_be_taken_again(self, watching: Watching, old: bytes) -> None:
        def script(w: Watching) -> Iterator[None]:
            w.put("a.jpg", old)
            yield from w.until_told("a.jpg")
            w.put("a.jpg", data(3))
            yield from w.until_calm()

        watching.run(script)
        assert rows_in_ledger(watching.out) == [("a.jpg", 3)]

    def test_while_the_old_one_is_scored_waits_for_it_and_only_the_last_is_scored(self, watching: Watching) -> None:
        watching.make_engine = ByHand

        def script(w: Watching) -> Iterator[None]:
            assert w.engine is not None
            engine = w.engine
            w.put("a.jpg", data(1))
            yield from w.until(lambda: len(engine.in_hand) == 1)
            for flags in (2, 3, 4):
                w.put("a.jpg", data(flags))
                yield from w.until_given("a.jpg", times=flags)
            # The old one is still in hand: the new one waits for it, and of several only the last.
            assert len(engine.in_hand) == 1
            engine.end_one()
            yield from w.until(lambda: len(engine.in_hand) == 1)
            engine.end_one()
            yield from w.until_calm()
            assert engine.in_hand == []

        watching.run(script)
        assert rows_in_ledger(watching.out) == [("a.jpg", 1), ("a.jpg", 4)]
        assert watching.scored == ["a.jpg", "a.jpg"]

    def test_by_the_same_bytes_it_is_not_scored_again(self, watching: Watching) -> None:
        def script(w: Watching) -> Iterator[None]:
            w.put("a.jpg", data(1))
            yield from w.until_told("a.jpg")
            os.utime(w.arriving / "a.jpg", (1, 1))
            # Its new time is noted: so it is not even read by the next call.
            yield from w.until(lambda: times_in_ledger(w.out) == ["1000000000"])

        watching.run(script)
        assert watching.scored == ["a.jpg"]


class TestTwins:
    def test_are_told_and_stay_with_the_first_when_its_file_is_written_over(
        self, watching: Watching, capsys: pytest.CaptureFixture[str]
    ) -> None:
        def script(w: Watching) -> Iterator[None]:
            w.put("a.jpg", data(3))
            yield from w.until_told("a.jpg")
            w.put("b.jpg", data(3))
            yield from w.until_calm()
            assert shot_cells(w.out, "duplicate_of") == {"a.jpg": "", "b.jpg": "a.jpg"}
            w.put("a.jpg", data(1))
            yield from w.until(lambda: w.scored == ["a.jpg", "a.jpg"])
            yield from w.until_calm()

        watching.run(script)
        assert "b.jpg: Already here. It is the same photograph, byte for byte, as a.jpg." in capsys.readouterr().out
        # b.jpg needs no rows of its own: those of the photograph that was a.jpg stand.
        assert rows_in_ledger(watching.out) == [("a.jpg", 1), ("a.jpg", 3), ("b.jpg", 0)]
        assert shot_cells(watching.out, "duplicate_of") == {"a.jpg": "", "b.jpg": "a.jpg"}


class TestWhoComesFirst:
    def test_a_new_one_waits_for_no_more_than_what_is_in_hand(self, watching: Watching) -> None:
        """The folder held twenty before watching began; the person at the panel takes one more."""
        watching.make_engine = ByHand
        for number in range(20):
            watching.put(f"old {number:02d}.jpg", data(1, str(number)))

        def script(w: Watching) -> Iterator[None]:
            assert w.engine is not None
            engine = w.engine
            yield from w.until(lambda: len(engine.in_hand) == 2)
            w.put("new.jpg", data(1, "new"))
            yield from w.until(lambda: w.arrivals is not None and w.arrivals.half_there == 19)
            yield from w.for_some_time()
            # One is being scored, one has been read ahead: an idle worker would help nobody.
            assert len(engine.in_hand) == 2
            engine.end_one()
            yield from w.until(lambda: len(engine.in_hand) == 2)
            assert [photograph.shot for photograph in engine.in_hand] == ["old 01.jpg", "new.jpg"]
            while len(w.scored) < 21:
                yield from w.until(lambda: bool(engine.in_hand))
                engine.end_one()
                yield
            yield from w.until_calm()

        watching.run(script)
        assert len(shot_cells(watching.out, "shot")) == 21


class TestStopsAndStarts:
    def test_scores_none_twice_and_loses_none(self, watching: Watching, capsys: pytest.CaptureFixture[str]) -> None:
        def stopped(w: Watching) -> Iterator[None]:
            w.put("a.jpg", data(1))
            w.put("b.jpg", BROKEN)
            yield from w.until_told("a.jpg", "b.jpg")
            w.put("c.jpg", data(2))
            raise KeyboardInterrupt

        with pytest.raises(StoppedByUser, match="the same call goes on"):
            watching.run(stopped)
        assert list(shot_cells(watching.out, "shot")) == ["a.jpg", "b.jpg"]
        watching.put("d.jpg", data(3))
        capsys.readouterr()

        (watching.arriving / "b.jpg").unlink()

        def again(w: Watching) -> Iterator[None]:
            yield from w.until_told("c.jpg", "d.jpg")
            w.put("e.jpg", data(4))
            yield from w.until_told("e.jpg")

        watching.run(again)
        assert sorted(watching.scored) == ["a.jpg", "b.jpg", "c.jpg", "d.jpg", "e.jpg"]
        assert list(shot_cells(watching.out, "shot")) == ["a.jpg", "b.jpg", "c.jpg", "d.jpg", "e.jpg"]
        assert "a.jpg" not in capsys.readouterr().out

    def test_what_a_killed_one_left_is_in_the_tables_soon(self, watching: Watching) -> None:
        def script(w: Watching) -> Iterator[None]:
            w.put("a.jpg", data(1))
            yield from w.until_told("a.jpg")
            yield from w.until_calm()

        watching.run(script)
        # As after a kill between the shot and the tables.
        (watching.out / "shots.csv").write_bytes(b"")

        def again(w: Watching) -> Iterator[None]:
            yield from w.until_calm()
            assert "1 stands here from before" in (w.out / "now.html").read_text()

        watching.run(again)
        assert watching.scored == ["a.jpg"]
        tables = [path for path in watching.out.glob("shots*.csv") if b"a.jpg" in path.read_bytes()]
        assert len(tables) == 1

    def test_a_folder_that_goes_away_and_comes_back(
        self, watching: Watching, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        def script(w: Watching) -> Iterator[None]:
            w.put("a.jpg", data(1))
            yield from w.until_told("a.jpg")
            w.arriving.rename(tmp_path / "away")
            yield from w.for_some_time()
            (tmp_path / "away" / "b.jpg").write_bytes(data(2))
            (tmp_path / "away").rename(w.arriving)
            yield from w.until_told("b.jpg")

        watching.run(script)
        assert watching.scored == ["a.jpg", "b.jpg"]
        told = capsys.readouterr().err.splitlines()
        assert len([line for line in told if "can't be looked into" in line]) == 1
        assert len([line for line in told if line == f"speckwise: {watching.arriving} is back."]) == 1


class TestDisks:
    def test_one_that_is_full_for_the_page_alone_ends_nothing(
        self, watching: Watching, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def full(path: Path, text: str) -> None:
            raise DiskFull(f"The disk is full: {path.name} could not be written.")

        def script(w: Watching) -> Iterator[None]:
            w.put("a.jpg", data(1))
            yield from w.until_told("a.jpg")
            yield from w.until_calm()

        with monkeypatch.context() as patched:
            patched.setattr(cli.batch.live, "write_text", full)
            watching.run(script)
        assert list(shot_cells(watching.out, "shot")) == ["a.jpg"]
        assert not (watching.out / "now.html").exists()

    def test_one_that_is_full_for_the_ledger_stops_half_way(
        self, watching: Watching, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def full(ledger: Ledger, entry: Any) -> None:
            raise DiskFull("The disk is full: .ledger.sqlite could not be written.")

        def script(w: Watching) -> Iterator[None]:
            w.put("a.jpg", data(1))
            yield from w.for_some_time(10)

        with monkeypatch.context() as patched:
            patched.setattr(Ledger, "add", full)
            with pytest.raises(StoppedHalfWay, match="The disk is full"):
                watching.run(script)
        assert "Watching ended" in (watching.out / "now.html").read_text()


class TestInAProcessOfItsOwn:
    def test_lines_come_at_once_without_a_terminal_and_being_told_to_end_is_a_stop(
        self, arriving: Path, out: Path
    ) -> None:
        (arriving / "a.jpg").write_bytes(data(1))
        process = start(arriving, out)
        assert "a.jpg: Keep this shot. 1 flagged." in next_line(process)
        process.send_signal(signal.SIGTERM)
        _, errors = process.communicate(timeout=30)
        assert process.returncode == 130, errors
        assert (
            errors
            == "speckwise: Stopped. What is done stands whole, 1 shot in all; the same call goes on from there.\n"
        )
        assert list(shot_cells(out, "shot")) == ["a.jpg"]
        assert "Watching ended" in (out / "now.html").read_text()

    def test_killed_in_the_middle_of_a_shot_none_is_scored_twice_and_none_lost(
        self, arriving: Path, out: Path, watching: Watching
    ) -> None:
        for number in range(3):
            (arriving / f"{number}.jpg").write_bytes(data(number, str(number)))
        process = start(arriving, out, seconds=0.5)
        done = next_line(process)
        process.kill()
        process.communicate(timeout=30)
        assert "0.jpg" in done
        assert "Watching ended" not in (out / "now.html").read_text()

        def script(w: Watching) -> Iterator[None]:
            yield from w.until_told("2.jpg")
            yield from w.until_calm()

        watching.run(script)
        assert "0.jpg" not in watching.scored
        assert len(watching.scored) == len(set(watching.scored))
        assert list(shot_cells(out, "shot")) == ["0.jpg", "1.jpg", "2.jpg"]
