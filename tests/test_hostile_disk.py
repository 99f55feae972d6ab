"""What a disk does meanwhile, names that are hard to bear, and two calls at once: each shot for itself."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from hostile_files import (
    ENVIRONMENT,
    ROOT,
    assert_plain,
)

from cli.batch.run import score_into
from cli.batch.sources import FileFacts, LocalFile, Source
from cli.entry import guarded
from faked import FACTS, call, everything, go, photographs, record, scorer, shot_cells
from vision import files

# --- what the disk does meanwhile, with the scoring faked --------------------------------------------------------------------


@dataclass(frozen=True)
class Restless(LocalFile):
    """A file to which something happens after it has been found and before it is read."""

    happens: Callable[[Path], object]

    def read(self) -> bytes:
        self.happens(self.path)
        return super().read()


def score_restless(folder: Path, out: Path, happens: Callable[[Path], object]) -> dict[str, str]:
    def sources() -> Iterator[Source]:
        for path in sorted(folder.iterdir()):
            place = Restless(path, happens) if path.name == "b.jpg" else LocalFile(path)
            yield Source(place, path.name)

    score_into(out, sources(), FACTS, call(scorer()))
    return shot_cells(out, "error")


def make_folder(path: Path) -> None:
    path.unlink()
    path.mkdir()


def make_pipe(path: Path) -> None:
    path.unlink()
    os.mkfifo(path)


def make_link_to_itself(path: Path) -> None:
    path.unlink()
    path.symlink_to(path)


def refuse_to_open(monkeypatch: pytest.MonkeyPatch, path: Path) -> None:
    """Nobody may read it. For root, who may read everything, opening it is made to fail as it would for others."""
    if os.geteuid() != 0:
        path.chmod(0)
        return

    def refusing(name: Any, *how: Any, **more: Any) -> object:
        if name == path:
            raise PermissionError(13, "Permission denied", str(name))
        return open(name, *how, **more)

    monkeypatch.setattr(files, "open", refusing, raising=False)


class TestWhatTheDiskDoes:
    @pytest.fixture
    def photos(self, tmp_path: Path) -> Path:
        return photographs(tmp_path / "in", a=b"xx", b=b"x", c=b"x0")

    @pytest.mark.parametrize(
        ("happens", "said"),
        [
            (Path.unlink, "The file is not there."),
            (lambda path: path.write_bytes(b""), "The file is empty."),
            (make_folder, "This is a folder, not a file."),
            (make_pipe, "This is not an ordinary file."),
            (make_link_to_itself, "The file is a link that leads in a circle."),
            (lambda path: path.write_bytes(b"bad, half of it written over"), "This is not a picture."),
        ],
    )
    def test_a_file_that_is_no_more_what_it_was_has_a_sentence(
        self, photos: Path, out: Path, happens: Callable[[Path], object], said: str
    ) -> None:
        assert score_restless(photos, out, happens) == {"a.jpg": "", "b.jpg": said, "c.jpg": ""}
        assert record(out)["counts"]["flagged"] == 3

    @pytest.mark.parametrize("now", [b"x" * 5, b"0"])
    def test_a_file_that_grows_or_is_written_over_is_read_again_by_the_next_call(
        self, photos: Path, out: Path, now: bytes
    ) -> None:
        score_restless(photos, out, lambda path: path.write_bytes(b"xxx half of it"))
        assert shot_cells(out, "candidates") == {"a.jpg": "", "b.jpg": "", "c.jpg": ""}
        assert record(out)["counts"]["flagged"] == 2 + 3 + 1
        (photos / "b.jpg").write_bytes(now)
        go(out, photos)
        assert record(out)["counts"]["flagged"] == 2 + now.count(b"x") + 1
        assert len(shot_cells(out, "shot")) == 3

    def test_one_that_may_not_be_read(self, photos: Path, out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        refuse_to_open(monkeypatch, photos / "b.jpg")
        tally, _ = go(out, photos)
        assert shot_cells(out, "error")["b.jpg"] == "The file may not be read: permission is denied."
        assert (tally.scored, tally.failed, tally.is_whole) == (2, 1, False)

    def test_a_place_that_fails_in_its_own_way_is_told_in_our_words(self, photos: Path, out: Path) -> None:
        def cut_off(path: Path) -> None:
            raise RuntimeError(f"socket 0x7f10 of {path} is gone")

        errors = score_restless(photos, out, cut_off)
        assert_plain(errors["b.jpg"])
        assert errors["a.jpg"] == errors["c.jpg"] == ""

    def test_a_place_that_does_not_even_say_what_it_holds_hurts_no_other(self, photos: Path, out: Path) -> None:
        class Mute(LocalFile):
            def facts(self) -> FileFacts:
                raise RuntimeError("no such call")

        sources = [
            Source((Mute if name == "b.jpg" else LocalFile)(photos / name), name) for name in sorted(os.listdir(photos))
        ]
        score_into(out, sources, FACTS, call(scorer()))
        assert shot_cells(out, "error")["a.jpg"] == shot_cells(out, "error")["c.jpg"] == ""


class TestNames:
    def test_bytes_that_are_no_text_hurt_no_other(self, tmp_path: Path, out: Path) -> None:
        photos = photographs(tmp_path / "in", a=b"xx", z=b"x0")
        for number, name in enumerate((b"caf\xe9.jpg", b"\xff\xfe.jpg", b"\xed\xa0\x80.jpg")):
            with open(os.fsencode(photos) + b"/" + name, "wb") as file:
                file.write(b"x" * (3 + number))
        tally, _ = go(out, photos)
        assert set(shot_cells(out, "error")) == {
            "a.jpg",
            "z.jpg",
            "caf\\xe9.jpg",
            "\\xff\\xfe.jpg",
            "\\xed\\xa0\\x80.jpg",
        }
        assert (tally.scored, tally.failed) == (5, 0)
        again, _ = go(out, photos)
        assert again.kept == 5

    def test_a_folder_of_such_a_name(self, tmp_path: Path, out: Path) -> None:
        folder = os.fsencode(tmp_path) + b"/in\xff"
        os.mkdir(folder)
        with open(folder + b"/a.jpg", "wb") as file:
            file.write(b"xx")
        tally, _ = go(out, Path(os.fsdecode(folder)))
        assert tally.scored == 1


# --- two at once -------------------------------------------------------------------------------------------------------------

SLOWLY = """
import sys, time
from pathlib import Path
from faked import go, scorer
inner = scorer()
def score(photograph):
    Path(sys.argv[3]).touch()
    while not Path(sys.argv[4]).exists():
        time.sleep(0.01)
    return inner(photograph)
go(Path(sys.argv[1]), Path(sys.argv[2]), score=score)
"""


class TestTwoRunsAtOnce:
    def test_the_second_is_refused_and_the_first_is_not_harmed(
        self, three: Path, out: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        begun, release = tmp_path / "begun", tmp_path / "release"
        words = [sys.executable, "-c", SLOWLY, *map(str, (out, three, begun, release))]
        first = subprocess.Popen(words, env=ENVIRONMENT, cwd=ROOT)
        try:
            end = time.monotonic() + 60
            while not begun.exists() and time.monotonic() < end:
                time.sleep(0.01)
            assert guarded(lambda: go(out, three) and 0) == 2
        finally:
            release.touch()
        assert f"is being written by process {first.pid} on " in capsys.readouterr().err
        assert first.wait(60) == 0
        go(tmp_path / "alone", three)
        assert everything(out) == everything(tmp_path / "alone")
