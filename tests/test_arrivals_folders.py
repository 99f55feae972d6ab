"""A folder that is watched: those below it, one that is taken away, what the ledger has, whose turn it is, thousands of files."""

from __future__ import annotations

import os
import time
import unicodedata
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from arriving import SOON_S, Watched, picture, put

import cli.batch.arrivals
import cli.batch.names
from cli.batch.arrivals import (
    CALM_S,
    LOOK_AT_LEAST_EVERY_S,
    LOOK_EVERY_S,
    PATIENCE_S,
    SHARE_OF_TIME,
    Arrivals,
    _Marks,
)
from cli.batch.folder import pictures_in
from cli.batch.sources import LocalFile
from faked import go


@pytest.fixture
def watched(tmp_path: Path) -> Watched:
    """An empty folder, looked at once."""
    (tmp_path / "in").mkdir()
    return Watched(tmp_path / "in", tmp_path / "out")


class TestFolders:
    def test_one_that_appears_below(self, watched: Watched) -> None:
        (watched.folder / "new" / "deep").mkdir(parents=True)
        assert watched.within(1) == []
        put(watched.folder / "new" / "deep" / "a.jpg", picture("jpg", 1))
        assert watched.within(SOON_S) == ["new/deep/a.jpg"]

    def test_one_that_is_moved_in_whole(self, watched: Watched, tmp_path: Path) -> None:
        (tmp_path / "card").mkdir()
        for seed in range(3):
            put(tmp_path / "card" / f"{seed}.jpg", picture("jpg", seed))
        (tmp_path / "card").rename(watched.folder / "card")
        assert watched.within(SOON_S) == ["card/0.jpg", "card/1.jpg", "card/2.jpg"]

    def test_the_output_folder_in_the_watched_one(self, tmp_path: Path) -> None:
        watched = Watched(tmp_path, tmp_path / "out")
        (tmp_path / "out" / "pictures").mkdir(parents=True)
        put(tmp_path / "out" / "pictures" / "a.jpg", picture("jpg"))
        put(tmp_path / "b.jpg", picture("jpg"))
        assert watched.within(PATIENCE_S) == ["b.jpg"]

    def test_what_is_written_there_is_not_looked_at(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        (tmp_path / "out").mkdir()
        watched = Watched(tmp_path, tmp_path / "out")
        walks: list[Path] = []

        def walk(root: Path, out: Path, say: Callable[[str], None]) -> Any:
            walks.append(root)
            return pictures_in(root, out, say)

        monkeypatch.setattr("cli.batch.arrivals.pictures_in", walk)
        for name in ("out/a.jpg", ".b.jpg", "c.jpg.part", "letter.txt"):
            put(tmp_path / name, picture("jpg"))
            assert watched.within(1) == []
        assert walks == []
        put(tmp_path / "d.jpg", picture("jpg"))
        assert watched.within(1) == ["d.jpg"]
        assert walks == [tmp_path]

    def test_another_output_folder_in_the_watched_one(self, watched: Watched, three: Path) -> None:
        go(watched.folder / "yesterday", three)
        put(watched.folder / "yesterday" / "pictures" / "a.jpg", picture("jpg"))
        assert watched.within(PATIENCE_S) == []

    def test_a_link_that_leads_back_up(self, watched: Watched) -> None:
        (watched.folder / "day").mkdir()
        (watched.folder / "day" / "up").symlink_to(watched.folder)
        put(watched.folder / "day" / "a.jpg", picture("jpg"))
        assert watched.within(PATIENCE_S) == ["day/a.jpg"]

    def test_names_as_a_mac_writes_them(self, watched: Watched) -> None:
        """Letters and accents apart on the disk (Unicode, NFD), together in the tables."""
        name = unicodedata.normalize("NFD", "Brötchen é.jpg")
        put(watched.folder / name, picture("jpg"))
        [(_, source)] = watched.told_within(SOON_S)
        assert source.shot == unicodedata.normalize("NFC", name)
        assert source.place.read() == picture("jpg")
        put(watched.folder / unicodedata.normalize("NFC", name), picture("jpg", 2))
        assert len(watched.within(SOON_S)) >= 1
        assert watched.within(100) == []


class TestAFolderThatIsTakenAway:
    def test_is_told_once_each_time_and_nothing_is_lost(self, watched: Watched, tmp_path: Path) -> None:
        put(watched.folder / "a.jpg", picture("jpg", 1))
        assert watched.within(SOON_S) == ["a.jpg"]
        put(watched.folder / "half.jpg", picture("jpg", 2)[:500])
        assert watched.within(1) == []
        away = tmp_path / "away"
        for _ in range(2):
            watched.said.clear()
            watched.folder.rename(away)
            assert watched.within(60) == []
            [sentence] = watched.said
            assert "can't be looked into (No such file or directory)" in sentence
            put(away / "half.jpg", picture("jpg", 2))
            away.rename(watched.folder)
            # Nobody knows here that a.jpg is done; whoever scores looks it up.
            assert watched.within(SOON_S) == ["a.jpg", "half.jpg"]
            assert watched.said[1:] == [f"{watched.folder} is back."]
            assert watched.within(100) == []

    def test_below_the_watched_one(self, watched: Watched, monkeypatch: pytest.MonkeyPatch) -> None:
        for name in ("1", "2"):
            (watched.folder / name).mkdir()
            put(watched.folder / name / "a.jpg", picture("jpg", int(name)))
        assert watched.within(SOON_S) == ["1/a.jpg", "2/a.jpg"]
        scandir = os.scandir

        def refuse(path: Any) -> Any:
            if os.fspath(path).endswith("/2"):
                raise PermissionError(13, "Permission denied")
            return scandir(path)

        for _ in range(2):
            watched.said.clear()
            with monkeypatch.context() as patched:
                patched.setattr(os, "scandir", refuse)
                assert watched.within(60) == []
                [sentence] = watched.said
                assert "2 could not be looked into (Permission denied)" in sentence
            assert watched.within(SOON_S) == ["2/a.jpg"]
            assert len(watched.said) == 1

    def test_for_a_moment_in_the_middle_of_a_look(self, watched: Watched, monkeypatch: pytest.MonkeyPatch) -> None:
        put(watched.folder / "a.jpg", picture("jpg"))

        def away(root: Path, out: Path, say: Callable[[str], None]) -> Any:
            monkeypatch.setattr("cli.batch.arrivals.pictures_in", pictures_in)
            say("The folder could not be looked into.")
            return iter(())

        monkeypatch.setattr("cli.batch.arrivals.pictures_in", away)
        assert watched.within(2 * SOON_S) == ["a.jpg"]

    def test_when_its_place_is_there_and_empty(self, watched: Watched, monkeypatch: pytest.MonkeyPatch) -> None:
        """A disk that is unmounted leaves the folder that it was mounted on."""
        put(watched.folder / "a.jpg", picture("jpg"))
        assert watched.within(SOON_S) == ["a.jpg"]
        disk = {"number": 2**40}
        monkeypatch.setattr(cli.batch.names, "_disk_of", lambda folder: disk["number"])
        assert watched.within(60) == ["a.jpg"]
        [sentence] = watched.said
        assert "is another disk or share than it was" in sentence
        disk["number"] += 1
        assert watched.within(60) == ["a.jpg"]
        assert len(watched.said) == 2


class TestWhatStandsInTheLedger:
    def test_is_given_without_being_read(self, three: Path, out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        go(out, three)
        put(three / "d.jpg", b"xxx")
        put(three / "c.jpg", b"other x" * 20)
        reads: list[str] = []
        read = LocalFile.read

        def note(place: LocalFile) -> bytes:
            reads.append(place.path.name)
            return read(place)

        monkeypatch.setattr(LocalFile, "read", note)
        now = [0.0]
        arrivals = Arrivals(three, out, print, clock=lambda: now[0])
        assert [source.shot for source in arrivals.look(room=0)] == ["a.jpg"]
        assert reads == []
        now[0] += PATIENCE_S + 1
        assert [source.shot for source in arrivals.look()] == ["b.jpg", "c.jpg", "d.jpg"]
        assert reads == ["b.jpg", "c.jpg", "d.jpg"]

    def test_is_not_read_after_the_folder_was_away(self, three: Path, out: Path, tmp_path: Path) -> None:
        watched = Watched(three, out)
        go(out, three)
        watched.within(PATIENCE_S + 5)
        three.rename(tmp_path / "away")
        watched.within(1)
        (tmp_path / "away").rename(three)
        watched.now += 1
        assert watched.look() == ["a.jpg", "c.jpg"]


class TestOrderAndRoom:
    def test_what_comes_now_goes_before_what_stood_there(self, tmp_path: Path) -> None:
        folder = tmp_path / "in"
        folder.mkdir()
        for seed in range(5):
            put(folder / f"old {seed}.jpg", picture("jpg", seed))
        watched = Watched(folder, tmp_path / "out")
        put(folder / "now.jpg", picture("jpg", 9))
        watched.now += 0.3
        watched.arrivals.look(room=0)
        watched.now += 1
        taken = [[source.shot for source in watched.arrivals.look(room=2)] for _ in range(4)]
        assert taken == [["now.jpg", "old 0.jpg"], ["old 1.jpg", "old 2.jpg"], ["old 3.jpg", "old 4.jpg"], []]

    def test_first_come_first_served(self, watched: Watched) -> None:
        for name in ("c", "a", "b"):
            put(watched.folder / f"{name}.jpg", picture("jpg"))
            watched.now += LOOK_EVERY_S
            watched.arrivals.look(room=0)
        watched.now += 1
        assert watched.look() == ["c.jpg", "a.jpg", "b.jpg"]

    def test_a_look_reads_no_more_than_there_is_time_for(
        self, watched: Watched, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """What is whole is handed on before the next one is read, and the next look is due at once."""
        read = LocalFile.read

        def slow(place: LocalFile) -> bytes:
            watched.now += 0.25
            return read(place)

        monkeypatch.setattr(LocalFile, "read", slow)
        for seed in range(3):
            put(watched.folder / f"{seed}.jpg", picture("jpg", seed))
        watched.look()
        watched.now += CALM_S
        for name in ("0.jpg", "1.jpg", "2.jpg"):
            assert watched.look() == [name]
            assert watched.arrivals.wait_s == 0 or name == "2.jpg"


def filled(folder: Path, files: int) -> Path:
    """A folder with so many files, none of them a picture."""
    folder.mkdir()
    for number in range(files):
        (folder / f"IMG_{number:05d}.jpg").write_bytes(b"x" * 80)
    return folder


class TestThousands:
    def test_looking_takes_a_small_share_of_the_time(self, tmp_path: Path) -> None:
        arrivals = Arrivals(filled(tmp_path / "in", 2000), tmp_path / "out", print)
        arrivals.look()
        time.sleep(CALM_S)
        given = 0
        while given < 2000:
            given += len(arrivals.look())
        shares = []
        for _ in range(10):
            begun = time.thread_time()
            assert arrivals.look() == []
            taken = time.thread_time() - begun
            shares.append(taken / (taken + arrivals.wait_s))
        # Other programs of the machine may make some looks slower, none quicker.
        assert min(shares) < SHARE_OF_TIME

    def test_a_new_one_is_given_as_soon_as_in_an_empty_folder(self, tmp_path: Path) -> None:
        many = filled(tmp_path / "in", 2000)
        watched = Watched(many, tmp_path / "out")
        assert len(watched.within(CALM_S + 0.1)) == 2000
        put(many / "new.jpg", picture("jpg"))
        assert watched.within(SOON_S) == ["new.jpg"]

    @pytest.mark.parametrize(("listing_s", "wait_s"), [(0.2, 0.2 / SHARE_OF_TIME), (30.0, LOOK_AT_LEAST_EVERY_S)])
    def test_on_a_slow_disk_it_is_looked_less_often(
        self, watched: Watched, monkeypatch: pytest.MonkeyPatch, listing_s: float, wait_s: float
    ) -> None:
        look = cli.batch.names.Names.look

        def slow(names: cli.batch.names.Names) -> cli.batch.names.Changed:
            watched.now += listing_s
            return look(names)

        monkeypatch.setattr(cli.batch.names.Names, "look", slow)
        watched.look()
        assert watched.arrivals.wait_s == pytest.approx(wait_s)

    def test_old_ones_are_asked_after_in_turn(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        """On a disk where each answer takes a millisecond, one that is overwritten is found all the same."""
        many = filled(tmp_path / "in", 500)
        watched = Watched(many, tmp_path / "out")
        assert len(watched.within(CALM_S + 0.1)) == 500
        marks_of = cli.batch.arrivals._marks_of

        def slow(file: LocalFile) -> _Marks:
            watched.now += 0.001
            return marks_of(file)

        monkeypatch.setattr(cli.batch.arrivals, "_marks_of", slow)
        put(many / "IMG_00123.jpg", picture("jpg"))
        begun = watched.now
        watched.look()
        assert watched.now - begun < 0.02
        assert "IMG_00123.jpg" in watched.within(30)
