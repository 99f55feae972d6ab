"""Which pictures a call means."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

import pytest

from cli.batch.folder import find_sources as find
from cli.batch.folder import shot_text
from cli.batch.sources import Source
from faked import photographs
from vision.errors import CallError
from vision.kinds import ENDINGS


def find_sources(paths: Sequence[Path], out: Path) -> list[Source]:
    return list(find(paths, out, lambda sentence: pytest.fail(sentence)))


def shots(*paths: Path, out: Path | None = None) -> list[str]:
    return [source.shot for source in find_sources(paths, out or paths[0] / "out")]


def test_folders_are_searched_below_and_sorted(tmp_path: Path) -> None:
    photographs(tmp_path, b=b"1", a=b"2")
    photographs(tmp_path / "tray 2", c=b"3")
    (tmp_path / "d.HEIC").write_bytes(b"4")
    (tmp_path / "notes.txt").write_bytes(b"5")
    assert shots(tmp_path) == ["a.jpg", "b.jpg", "d.HEIC", "tray 2/c.jpg"]


def test_hidden_files_and_folders_are_left_alone(tmp_path: Path) -> None:
    photographs(tmp_path, a=b"1")
    (tmp_path / "._a.jpg").write_bytes(b"2")
    photographs(tmp_path / ".thumbnails", b=b"3")
    assert shots(tmp_path) == ["a.jpg"]


@pytest.mark.parametrize(
    "name", ["with space.jpg", 'it\'s "so".jpg', "תמונה.jpg", "🐛🥦.jpg", "=1+1.jpg", "a" * 251 + ".jpg", "a\nb.jpg"]
)
def test_names_are_kept_as_they_are(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(b"1")
    assert shots(tmp_path) == [name]


def test_one_stem_with_two_endings_is_two_shots(tmp_path: Path) -> None:
    for name in ("IMG_1.jpg", "IMG_1.heic"):
        (tmp_path / name).write_bytes(name.encode())
    assert shots(tmp_path) == ["IMG_1.heic", "IMG_1.jpg"]


@pytest.mark.parametrize("ending", sorted({e for endings in ENDINGS.values() for e in endings}))
def test_no_kind_that_is_read_is_passed_over_in_a_folder(tmp_path: Path, ending: str) -> None:
    (tmp_path / f"shot{ending.upper()}").write_bytes(b"x")
    assert shots(tmp_path) == [f"shot{ending.upper()}"]


def test_names_are_composed_and_two_that_become_one_stay_apart(tmp_path: Path) -> None:
    (tmp_path / "e\u0301.jpg").write_bytes(b"1")
    assert shots(tmp_path) == ["\u00e9.jpg"]
    (tmp_path / "\u00e9.jpg").write_bytes(b"2")
    found = find_sources([tmp_path], tmp_path / "out")
    assert len({source.shot for source in found}) == len({source.place for source in found}) == 2


def test_bytes_that_are_not_utf8_are_written_out(tmp_path: Path) -> None:
    try:
        with open(os.fsencode(tmp_path) + b"/caf\xe9.jpg", "wb") as file:
            file.write(b"1")
    except OSError:
        assert shot_text(os.fsdecode(b"caf\xe9.jpg")) == "caf\\xe9.jpg"
        return
    assert shots(tmp_path) == ["caf\\xe9.jpg"]


def test_links_in_a_circle_end(tmp_path: Path) -> None:
    photographs(tmp_path / "a", x=b"1")
    (tmp_path / "a" / "up").symlink_to(tmp_path, target_is_directory=True)
    (tmp_path / "round.jpg").symlink_to("round.jpg")
    assert shots(tmp_path) == ["a/x.jpg"]


def test_a_file_reached_by_two_ways_is_taken_once(tmp_path: Path) -> None:
    photographs(tmp_path / "a", x=b"1")
    (tmp_path / "b").symlink_to(tmp_path / "a", target_is_directory=True)
    (tmp_path / "z.jpg").symlink_to(tmp_path / "a" / "x.jpg")
    assert len(shots(tmp_path)) == 1
    assert shots(tmp_path / "a", tmp_path / "a" / "x.jpg") == ["1:x.jpg"]


def test_a_link_to_a_picture_that_is_away_is_not_passed_over_in_silence(tmp_path: Path) -> None:
    (tmp_path / "away.jpg").symlink_to(tmp_path / "unmounted" / "1.jpg")
    assert shots(tmp_path) == ["away.jpg"]


def test_two_paths_with_the_same_name_in_them_are_numbered(tmp_path: Path) -> None:
    first, second = photographs(tmp_path / "a", **{"1": b"1"}), photographs(tmp_path / "b", **{"1": b"2"})
    assert shots(first, second) == ["1:1.jpg", "2:1.jpg"]


def test_a_file_named_itself_is_tried_whatever_its_ending(tmp_path: Path) -> None:
    (tmp_path / "photo.dat").write_bytes(b"1")
    assert shots(tmp_path / "photo.dat") == ["photo.dat"]


def test_output_folders_inside_the_input_are_not_input(tmp_path: Path) -> None:
    photographs(tmp_path, a=b"1")
    photographs(tmp_path / "out" / "pictures", flagged=b"2")
    photographs(tmp_path / "out of another run" / "pictures", flagged=b"3")
    (tmp_path / "out of another run" / "run.json").write_text('{"app": "speckwise", "run": "r0"}')
    assert shots(tmp_path) == ["a.jpg"]


def test_the_folder_of_the_photographs_is_not_the_output_folder(tmp_path: Path) -> None:
    photographs(tmp_path, a=b"1")
    with pytest.raises(CallError, match="another folder for --out"):
        find_sources([tmp_path], tmp_path)


def test_nothing_found_is_said(tmp_path: Path) -> None:
    with pytest.raises(CallError, match=r"No picture was found in .*\.heic"):
        find_sources([tmp_path], tmp_path / "out")
    with pytest.raises(CallError, match="can't be found"):
        find_sources([tmp_path / "missing"], tmp_path / "out")


def test_a_pipe_is_refused_and_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.jpg")
    with pytest.raises(CallError, match="neither a file nor a folder"):
        find_sources([tmp_path / "pipe.jpg"], tmp_path / "out")
    with pytest.raises(CallError, match="No picture"):
        find_sources([tmp_path], tmp_path / "out")
