"""The pictures of a desk: parts of what was scored, and no answer on a picture that is missing, broken or another one."""

from __future__ import annotations

import io
import os
import shutil
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from made_desk import SHOTS, act, add_entries, desk_of, drawn_line, flags_of, made_folder, shot_of, speck
from numpy.typing import NDArray
from PIL import Image
from scored_folder import Made, entry_of, pixels_of

import cli.review.pictures
from cli.review.desk import Desk
from cli.review.pictures import BROKEN, MISSING, REPLACED, Pictures, PictureTrouble
from cli.review.shelf import read_shelf
from vision.files import encode_jpeg


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return made_folder(tmp_path)


@pytest.fixture
def desk(folder: Path) -> Iterator[Desk]:
    with desk_of(folder) as opened:
        yield opened


def decoded(data: bytes) -> NDArray[np.int16]:
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB"), dtype=np.int16)


class TestParts:
    @pytest.mark.parametrize(("box", "shrink"), [((0, 0, 600, 400), 1), ((96, 64, 128, 192), 1), ((0, 0, 600, 400), 4)])
    def test_are_the_picture_s_own_pixels(self, desk: Desk, box: tuple[int, int, int, int], shrink: int) -> None:
        left, top, wide, high = box
        part = decoded(desk.pictures.part(shot_of(desk), *box, shrink))
        pixels = pixels_of(SHOTS[0])[top : top + high, left : left + wide]
        means = pixels.reshape(high // shrink, shrink, wide // shrink, shrink, 3).mean(axis=(1, 3))
        # Two JPEGs lie between.
        assert np.abs(part - means).mean() < 2
        assert np.abs(part - means).max() < 40

    def test_hold_the_flag_in_their_middle(self, desk: Desk) -> None:
        for flag in flags_of(desk.shots(1, "Ida")).values():
            left, top = round(flag["x_px"]) - 16, round(flag["y_px"]) - 16
            part = decoded(desk.pictures.part(shot_of(desk), left, top, 33, 33, 1))[..., 1]
            y, x = np.unravel_index(part.argmin(), part.shape)
            assert abs(y - 16) <= 2
            assert abs(x - 16) <= 2

    @pytest.mark.parametrize("box", [(600, 0, 9, 9), (0, 0, 0, 9), (0, 0, -5, 9), (-9, 0, 9, 9), (0, 0, 8193, 1)])
    def test_that_are_none_are_refused(self, desk: Desk, box: tuple[int, int, int, int]) -> None:
        with pytest.raises(ValueError, match=r"box|at most"):
            desk.pictures.part(shot_of(desk), *box, 1)

    def test_as_wide_as_a_large_screen_shows_them_at_once(self, tmp_path: Path) -> None:
        wide = Made("wide.jpg", 2, size_px=(6000, 40))
        with desk_of(made_folder(tmp_path, [wide], name="wide")) as desk:
            assert decoded(desk.pictures.part(shot_of(desk, "wide.jpg"), 0, 0, 6000, 40, 1)).shape == (40, 6000, 3)


class TestReading:
    @pytest.fixture
    def read(self, monkeypatch: pytest.MonkeyPatch) -> list[str]:
        """The names of what is decoded, in order."""
        names: list[str] = []
        decode = cli.review.pictures.decode_shot

        def counted(data: bytes, name: str) -> object:
            names.append(name)
            return decode(data, name)

        monkeypatch.setattr(cli.review.pictures, "decode_shot", counted)
        return names

    def test_once_for_many_who_ask_at_once(self, folder: Path, read: list[str]) -> None:
        shelf = read_shelf(folder)
        pictures, parts = Pictures(folder), []
        ask = [
            threading.Thread(target=lambda k=k: parts.append(pictures.part(shelf.shots[0], 16 * k, 0, 16, 16, 1)))
            for k in range(8)
        ]
        for thread in ask:
            thread.start()
        for thread in ask:
            thread.join()
        assert len(parts) == 8
        assert read == ["tray 1.jpg"]

    def test_few_are_held(self, tmp_path: Path, read: list[str]) -> None:
        folder = made_folder(tmp_path, [Made(f"{k}.jpg", 1, size_px=(40, 40), seed=k) for k in range(5)], name="five")
        shots = read_shelf(folder).shots
        pictures = Pictures(folder)
        for shot in (*shots, shots[4], shots[0]):
            pictures.part(shot, 0, 0, 8, 8, 1)
        assert read == [*(shot.name for shot in shots), "0.jpg"]

    def test_an_answer_does_not_read_it_anew(self, desk: Desk, read: list[str]) -> None:
        for number in (1, 2, 3):
            desk.answer(act(speck(desk, number)))
        assert read == ["tray 1.jpg"]


def picture_of(folder: Path) -> Path:
    return next((folder / "pictures").glob("tray 1*"))


def other_bytes(path: Path) -> None:
    pixels = pixels_of(SHOTS[0]).copy()
    pixels[:50] //= 2
    path.write_bytes(encode_jpeg(pixels, 90))


def other_size(path: Path) -> None:
    path.write_bytes(encode_jpeg(pixels_of(SHOTS[0])[:-1], 90))


def another_photograph(path: Path) -> None:
    shutil.copyfile(next(path.parent.glob("tray 2*")), path)


def same_size_and_time(path: Path) -> None:
    before = path.stat()
    data = bytearray(path.read_bytes())
    data[-300] ^= 1
    path.write_bytes(data)
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))


def cut_short(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:900])


def text(path: Path) -> None:
    path.write_bytes(b"no picture")


def empty(path: Path) -> None:
    path.write_bytes(b"")


def link_out(path: Path) -> None:
    outside = path.parent.parent.parent / "outside.jpg"
    shutil.move(path, outside)
    path.symlink_to(outside)


def folder_link_out(path: Path) -> None:
    outside = path.parent.parent.parent / "elsewhere"
    shutil.move(path.parent, outside)
    path.parent.symlink_to(outside)


def link_to_itself(path: Path) -> None:
    path.unlink()
    path.symlink_to(path)


def folder_in_its_place(path: Path) -> None:
    path.unlink()
    path.mkdir()


TROUBLES = [
    (Path.unlink, MISSING),
    (link_out, MISSING),
    (folder_link_out, MISSING),
    (link_to_itself, MISSING),
    (folder_in_its_place, MISSING),
    (other_bytes, REPLACED),
    (other_size, REPLACED),
    (another_photograph, REPLACED),
    (same_size_and_time, REPLACED),
    (cut_short, REPLACED),
    (text, REPLACED),
    (empty, REPLACED),
]
# A run that noted no digest of its pictures.
TROUBLES_WITHOUT_DIGEST = [
    (Path.unlink, MISSING),
    (link_out, MISSING),
    (other_size, REPLACED),
    (cut_short, BROKEN),
    (text, BROKEN),
    (empty, BROKEN),
]


def put_back(folder: Path, kept: Path) -> None:
    pictures = folder / "pictures"
    if pictures.is_symlink():
        pictures.unlink()
    else:
        shutil.rmtree(pictures)
    shutil.copytree(kept, pictures)


class TestTrouble:
    @pytest.fixture
    def kept(self, folder: Path, tmp_path: Path) -> Path:
        return Path(shutil.copytree(folder / "pictures", tmp_path / "kept"))

    def check(self, desk: Desk, trouble: str, folder: Path, kept: Path) -> None:
        """That it is said, that nothing can be answered, and that both end when the picture is back."""
        shot = shot_of(desk)
        before = len(desk.said(1, 0)["said"])
        assert desk.pictures.trouble(shot) == trouble
        for act_on in (
            lambda: desk.pictures.part(shot, 0, 0, 64, 64, 1),
            lambda: desk.answer(act(speck(desk))),
            lambda: desk.add(drawn_line(shot)),
        ):
            with pytest.raises(PictureTrouble, match=trouble):
                act_on()
        assert len(desk.said(1, 0)["said"]) == before
        assert len(flags_of(desk.shots(1, "Ida"))) == 4, "its flags stay, and stay open"
        put_back(folder, kept)
        assert desk.pictures.trouble(shot) == ""
        assert desk.answer(act(speck(desk, 2)))["answer"] == "insect"
        assert decoded(desk.pictures.part(shot, 0, 0, 64, 64, 1)).shape == (64, 64, 3)

    @pytest.mark.parametrize(("spoil", "trouble"), TROUBLES)
    @pytest.mark.parametrize("shown_before", [False, True])
    def test_is_said_and_ends_when_the_picture_is_back(
        self, folder: Path, kept: Path, desk: Desk, spoil: Callable[[Path], None], trouble: str, shown_before: bool
    ) -> None:
        if shown_before:
            desk.pictures.part(shot_of(desk), 0, 0, 64, 64, 1)
            desk.answer(act(speck(desk, 3)))
        spoil(picture_of(folder))
        self.check(desk, trouble, folder, kept)

    @pytest.mark.parametrize(("spoil", "trouble"), TROUBLES_WITHOUT_DIGEST)
    def test_of_a_run_without_digests(
        self, folder: Path, kept: Path, spoil: Callable[[Path], None], trouble: str
    ) -> None:
        add_entries(folder, replace(entry_of(SHOTS[0])[0], digests={}))
        with desk_of(folder) as desk:
            assert desk.pictures.trouble(shot_of(desk)) == ""
            spoil(picture_of(folder))
            self.check(desk, trouble, folder, kept)

    def test_of_one_photograph_leaves_the_others(self, folder: Path, desk: Desk) -> None:
        picture_of(folder).unlink()
        assert desk.answer(act(speck(desk, 1, "tray 2.jpg")))["answer"] == "insect"

    def test_a_whole_look_and_the_sums_need_no_picture(self, folder: Path, desk: Desk) -> None:
        picture_of(folder).unlink()
        run = desk.shelf.run
        look = {"shot_sha256": shot_of(desk).sha256, "run": run, "reviewer": "Ida", "seconds": 1, "token": "t"}
        assert desk.looked(look) == {}
        assert desk.sums(1)["all"]["open"] == 7
