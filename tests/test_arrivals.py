"""A folder that is looked at again and again gives each photograph once it is whole: with a clock of the test's own, real files."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import pytest
from arriving import KINDS, SOON_S, Watched, picture, put
from hypothesis import given, settings
from hypothesis import strategies as st

import cli.batch.arrivals
import cli.batch.names
from cli.batch.arrivals import (
    CALM_S,
    PATIENCE_S,
    UNSURE_S,
    _Marks,
)
from cli.batch.sources import LocalFile
from vision.complete import Complete, completeness
from vision.errors import UnreadableShot


@pytest.fixture
def watched(tmp_path: Path) -> Watched:
    """An empty folder, looked at once."""
    (tmp_path / "in").mkdir()
    return Watched(tmp_path / "in", tmp_path / "out")


@pytest.fixture
def timeless(monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk that tells a file's size and nothing more: some servers move no time before the file is closed."""
    monkeypatch.setattr(cli.batch.arrivals, "_marks_of", lambda file: _Marks(os.stat(file.path).st_size, 0, 0))


@pytest.mark.parametrize("ending", KINDS)
class TestNeverBeforeItIsWhole:
    def test_written_in_pieces(self, watched: Watched, ending: str) -> None:
        data, path = picture(ending), watched.folder / f"a.{ending}"
        for end in (1, 3, 11, 40, 100, len(data) // 2, len(data) - 1500, len(data) - 70):
            path.write_bytes(data[:end])
            # Two pictures in one file may be one by now, which is waited with a while longer.
            assert watched.within(UNSURE_S - 0.5 if ending == "mpo.jpg" else PATIENCE_S - 1) == []
        path.write_bytes(data)
        assert watched.within(SOON_S) == [path.name]
        assert watched.within(100) == []

    @pytest.mark.parametrize("tells", [True, False], ids=["with times", "without times"])
    def test_set_to_full_size_first_and_filled_later(
        self, watched: Watched, ending: str, tells: bool, request: pytest.FixtureRequest
    ) -> None:
        if not tells:
            request.getfixturevalue("timeless")
        data, path = picture(ending), watched.folder / f"a.{ending}"
        for end in (0, 1, 7, 40, 100, len(data) // 2, len(data) - 70):
            path.write_bytes(data[:end] + bytes(len(data) - end))
            assert watched.within(UNSURE_S - 0.5) == []
        path.write_bytes(data)
        # Without times it is read again and again.
        assert watched.within(SOON_S if tells else 2 * SOON_S) == [path.name]
        assert watched.within(100) == []

    def test_renamed_into_place(self, watched: Watched, ending: str) -> None:
        data = picture(ending)
        for hidden in (
            ".a.tmp",
            f".{ending}",
            f"a.{ending}.part",
            f"a.{ending}.crdownload",
            f"._a.{ending}",
            f"a.{ending}~",
        ):
            passing = watched.folder / hidden
            passing.write_bytes(data)
            assert watched.within(2 * PATIENCE_S) == []
            passing.rename(watched.folder / f"a.{ending}")
            assert watched.within(SOON_S) == [f"a.{ending}"]
            (watched.folder / f"a.{ending}").unlink()
            assert watched.within(1) == []

    def test_the_bytes_given_are_those_that_were_whole(self, watched: Watched, ending: str) -> None:
        data, path = picture(ending), watched.folder / f"a.{ending}"
        path.write_bytes(data)
        [(_, source)] = watched.told_within(SOON_S)
        facts = LocalFile(path).facts()
        path.write_bytes(data[:100])
        assert source.place.facts() == facts
        assert source.place.read() == data
        # They are not held for longer than they are needed.
        assert source.place.read() == data[:100]


class TestOneThatStaysAsItIs:
    def test_cut_off_is_given_after_the_patience_and_once(self, watched: Watched) -> None:
        put(watched.folder / "a.jpg", picture("jpg")[:-1])
        assert watched.within(PATIENCE_S - 0.5) == []
        assert watched.within(4) == ["a.jpg"]
        assert watched.within(200) == []

    def test_cut_off_and_then_whole_is_given_again(self, watched: Watched) -> None:
        put(watched.folder / "a.jpg", picture("jpg")[:-1])
        assert watched.within(PATIENCE_S + 4) == ["a.jpg"]
        put(watched.folder / "a.jpg", picture("jpg"))
        assert watched.within(SOON_S) == ["a.jpg"]

    def test_and_is_filled_later_without_any_sign_is_given_again(self, watched: Watched, timeless: None) -> None:
        data, path = picture("jpg"), watched.folder / "a.jpg"
        path.write_bytes(data[:1000] + bytes(len(data) - 1000))
        [(_, first)] = watched.told_within(PATIENCE_S + 4)
        path.write_bytes(data)
        [(_, second)] = watched.told_within(0.5 * PATIENCE_S)
        assert second.place.read() == data
        # The facts are those of the bytes before: nobody may conclude from them that it is done already.
        assert first.place.facts().tells
        assert not second.place.facts().tells
        assert watched.within(200) == []

    @pytest.mark.parametrize("data", [b"", b"x", b"\0" * 5000], ids=["empty", "one byte", "zeros"])
    def test_nothing_as_yet_is_waited_for(self, watched: Watched, data: bytes) -> None:
        (watched.folder / "a.jpg").write_bytes(data)
        assert watched.within(PATIENCE_S - 0.5) == []
        assert watched.within(4) == ["a.jpg"]

    def test_no_picture_at_all_is_not_waited_for(self, watched: Watched) -> None:
        (watched.folder / "a.jpg").write_bytes(b"To whom it may concern: this is a letter. " * 9)
        assert watched.within(SOON_S) == ["a.jpg"]

    def test_what_may_be_whole_is_waited_for_a_little(self, watched: Watched) -> None:
        both = picture("mpo.jpg")
        (watched.folder / "a.jpg").write_bytes(both[: both.index(b"\xff\xd9\xff\xd8") + 2])
        assert watched.within(UNSURE_S - 0.2) == []
        assert watched.within(1) == ["a.jpg"]
        assert watched.within(200) == []


class TestReplaced:
    def test_by_other_bytes_in_place_or_by_renaming_is_given_again(self, watched: Watched) -> None:
        path = watched.folder / "IMG_0001.jpg"
        put(path, picture("jpg", 1))
        assert watched.within(SOON_S) == [path.name]
        put(path, picture("jpg", 2))
        assert watched.within(SOON_S) == [path.name]
        put(watched.folder / "x.part", picture("jpg", 3))
        (watched.folder / "x.part").replace(path)
        [(_, source)] = watched.told_within(SOON_S)
        assert source.place.read() == picture("jpg", 3)
        assert watched.within(100) == []

    def test_with_the_time_of_writing_set_back(self, watched: Watched) -> None:
        """As copiers do that keep times: the system's own time of the last change moves all the same (POSIX, st_ctime)."""
        path = watched.folder / "IMG_0001.jpg"
        put(path, picture("tif", 1))
        times = (path.stat().st_atime_ns, path.stat().st_mtime_ns)
        assert watched.within(SOON_S) == [path.name]
        put(path, picture("tif", 2))
        os.utime(path, ns=times)
        [(_, source)] = watched.told_within(SOON_S)
        assert source.place.read() == picture("tif", 2)
        assert not source.place.facts().tells

    def test_while_it_is_being_replaced_it_is_not_given(self, watched: Watched) -> None:
        path = watched.folder / "IMG_0001.jpg"
        put(path, picture("jpg", 1))
        assert watched.within(SOON_S) == [path.name]
        for end in (500, 1000, 2000):
            put(path, picture("jpg", 2)[:end])
            assert watched.within(5) == []
        put(path, picture("jpg", 2))
        assert watched.within(SOON_S) == [path.name]

    def test_in_the_very_moment_of_reading(self, watched: Watched, monkeypatch: pytest.MonkeyPatch) -> None:
        path = watched.folder / "IMG_0001.jpg"
        put(path, picture("jpg", 1))
        read = LocalFile.read

        def meanwhile(place: LocalFile) -> bytes:
            data = read(place)
            monkeypatch.setattr(LocalFile, "read", read)
            put(path, picture("jpg", 2)[:1000])
            return data

        monkeypatch.setattr(LocalFile, "read", meanwhile)
        assert watched.within(10) == []
        put(path, picture("jpg", 2))
        assert watched.within(SOON_S) == [path.name]

    def test_touched_only_it_is_given_once_for_its_new_time_to_be_noted(self, watched: Watched) -> None:
        path = watched.folder / "a.jpg"
        put(path, picture("jpg"))
        assert watched.within(SOON_S) == ["a.jpg"]
        os.utime(path, (1, 1))
        [(_, source)] = watched.told_within(10)
        assert source.place.read() == picture("jpg")
        assert source.place.facts().tells


class TestGone:
    def test_before_it_was_whole(self, watched: Watched) -> None:
        put(watched.folder / "a.jpg", picture("jpg")[:99])
        assert watched.within(1) == []
        assert watched.arrivals.half_there == 1
        (watched.folder / "a.jpg").unlink()
        assert watched.within(100) == []
        assert watched.arrivals.half_there == 0

    def test_and_back_with_other_bytes(self, watched: Watched) -> None:
        put(watched.folder / "a.jpg", picture("jpg", 1))
        assert watched.within(SOON_S) == ["a.jpg"]
        (watched.folder / "a.jpg").unlink()
        assert watched.within(1) == []
        put(watched.folder / "a.jpg", picture("jpg", 2))
        assert watched.within(SOON_S) == ["a.jpg"]

    def test_a_link_that_leads_nowhere_yet(self, watched: Watched, tmp_path: Path) -> None:
        (watched.folder / "a.jpg").symlink_to(tmp_path / "a.jpg")
        assert watched.within(100) == []
        put(tmp_path / "a.jpg", picture("jpg"))
        assert watched.within(SOON_S) == ["a.jpg"]


class TestNotToBeReadYet:
    @pytest.fixture
    def held(self, monkeypatch: pytest.MonkeyPatch) -> dict[str, bool]:
        """A program of another system holds every file open that starts with `held` (the superuser of these tests may read all)."""
        state = {"held": True}
        read = LocalFile.read

        def refuse(place: LocalFile) -> bytes:
            if state["held"] and place.path.name.startswith("held"):
                raise UnreadableShot("The file may not be read: permission is denied.")
            return read(place)

        monkeypatch.setattr(LocalFile, "read", refuse)
        return state

    def test_is_given_when_it_can_be_and_keeps_nothing_waiting(self, watched: Watched, held: dict[str, bool]) -> None:
        put(watched.folder / "held.jpg", picture("jpg", 1))
        put(watched.folder / "other.jpg", picture("jpg", 2))
        assert watched.within(5) == ["other.jpg"]
        held["held"] = False
        assert watched.within(2) == ["held.jpg"]

    def test_is_given_after_the_patience_and_again_when_it_can_be(
        self, watched: Watched, held: dict[str, bool]
    ) -> None:
        put(watched.folder / "held.jpg", picture("jpg"))
        [(_, source)] = watched.told_within(PATIENCE_S + 4)
        with pytest.raises(UnreadableShot, match="permission"):
            source.place.read()
        assert watched.within(60) == []
        held["held"] = False
        [(_, again)] = watched.told_within(20)
        assert again.place.read() == picture("jpg")
        assert not again.place.facts().tells


JPEG = picture("jpg", side=256)
"""Some 40 kB: real copiers write blocks of a few kB and more."""
BLOCK = 8192


class TestAnyInterleaving:
    @settings(max_examples=40, deadline=None)
    @given(
        cuts=st.lists(st.integers(0, len(JPEG)), max_size=6),
        waits=st.lists(st.floats(0.01, 6.0), min_size=20, max_size=20),
        room_is_kept=st.booleans(),
    )
    def test_of_pieces_and_looks(self, cuts: list[int], waits: list[float], room_is_kept: bool) -> None:
        """Whatever is written when, and looked at when: never before it is whole, and once when it is whole and calm."""
        with tempfile.TemporaryDirectory() as place:
            watched = Watched(Path(place), Path(place) / "out")
            path, pauses = watched.folder / "a.jpg", iter(waits)
            for end in sorted({*cuts, len(JPEG)}):
                is_whole = end == len(JPEG)
                put(path, JPEG[:end] + bytes(len(JPEG) - end) * room_is_kept)
                for _ in range(0 if is_whole else 2):
                    watched.now += next(pauses)
                    assert watched.look() == []
            given: list[str] = []
            since = None
            for pause in (*pauses, 1.0, 1.0):
                given += watched.look()
                assert not given or (since is not None and watched.now - since >= CALM_S - 1e-6)
                since = watched.now if since is None else since
                watched.now += pause
            assert given == ["a.jpg"]

    @settings(max_examples=40, deadline=None)
    @given(
        order=st.permutations(range(-(-len(JPEG) // BLOCK))),
        waits=st.lists(st.floats(0.01, UNSURE_S / 2 - 0.1), min_size=40, max_size=40),
        tells=st.booleans(),
    )
    def test_of_blocks_in_any_order(self, order: list[int], waits: list[float], tells: bool) -> None:
        """Room is kept, then filled in any order, on a disk that tells of it or not."""
        with tempfile.TemporaryDirectory() as place, pytest.MonkeyPatch.context() as patched:
            if not tells:
                patched.setattr(cli.batch.arrivals, "_marks_of", lambda file: _Marks(os.stat(file.path).st_size, 0, 0))
            watched = Watched(Path(place), Path(place) / "out")
            path, pauses = watched.folder / "a.jpg", iter(waits)
            there = bytearray(len(JPEG))
            for number in order:
                put(path, bytes(there))
                for _ in range(2):
                    watched.now += next(pauses)
                    assert watched.look() == []
                there[number * BLOCK : (number + 1) * BLOCK] = JPEG[number * BLOCK : (number + 1) * BLOCK]
            put(path, bytes(there))
            assert completeness(bytes(there)) is Complete.YES
            assert watched.within(2 * SOON_S) == ["a.jpg"]
