"""Reading from and writing to the disk, and names that every system takes."""

from __future__ import annotations

import errno
import io
import json
import os
import sys
import unicodedata
from enum import StrEnum
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from vision import files
from vision.errors import CallError, OutputNotWritable, SpeckwiseError, UnreadableShot
from vision.files import (
    encode_jpeg,
    read_bytes,
    safe_stem,
    sha256_of,
    write_bytes,
    write_json,
    write_picture,
    write_text,
)

HASH = "0123456789abcdef" * 4


# --- reading -----------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name", ["a b.jpg", 'it\'s "quoted".jpg', "חרקים.jpg", "🐛.jpg", "=1+1.jpg", "x" * 251 + ".jpg", "-f"]
)
def test_reads_what_is_there(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(b"bytes")
    assert read_bytes(tmp_path / name) == b"bytes"


def test_sentences_for_what_cannot_be_read(tmp_path: Path) -> None:
    (tmp_path / "empty").touch()
    (tmp_path / "file").write_bytes(b"12345")
    (tmp_path / "circle").symlink_to(tmp_path / "circle")
    os.mkfifo(tmp_path / "pipe")
    said = {
        tmp_path: "This is a folder, not a file.",
        tmp_path / "missing": "The file is not there.",
        tmp_path / "file" / "below": "The file is not there.",
        tmp_path / "empty": "The file is empty.",
        tmp_path / "pipe": "This is not an ordinary file.",
        tmp_path / "circle": "The file is a link that leads in a circle.",
        tmp_path / ("x" * 5000): "The file's name is not one the system can open.",
        tmp_path / "nul\0": "The file's name is not one the system can open.",
    }
    for path, sentence in said.items():
        with pytest.raises(UnreadableShot) as refused:
            read_bytes(path)
        assert str(refused.value) == sentence


@pytest.mark.parametrize(
    ("error", "said"),
    [(PermissionError(errno.EACCES, "x"), "permission is denied"), (OSError(errno.EIO, "x"), "reports an error")],
)
def test_errors_of_the_disk_while_reading(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: OSError, said: str
) -> None:
    (tmp_path / "x").write_bytes(b"1")

    def fails(*_: Any) -> Any:
        raise error

    monkeypatch.setattr(files, "open", fails, raising=False)
    with pytest.raises(UnreadableShot, match=said):
        read_bytes(tmp_path / "x")


def test_too_many_bytes(tmp_path: Path) -> None:
    (tmp_path / "x").write_bytes(bytes(2 << 20))
    assert len(read_bytes(tmp_path / "x", max_bytes=2 << 20)) == 2 << 20
    with pytest.raises(UnreadableShot, match=r"larger than 1 MiB"):
        read_bytes(tmp_path / "x", max_bytes=1 << 20)


def test_sha256() -> None:
    """FIPS 180-2, appendix B.1: the message "abc"."""
    assert sha256_of(b"abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


# --- writing -----------------------------------------------------------------------------------------------------------------


def test_writes_and_replaces(tmp_path: Path) -> None:
    path = tmp_path / ("x" * 255)
    write_bytes(path, b"old")
    write_bytes(path, b"new")
    assert path.read_bytes() == b"new"
    assert [p.name for p in tmp_path.iterdir()] == [path.name]


def test_new_files_have_the_rights_of_any_new_file(tmp_path: Path) -> None:
    (tmp_path / "theirs").touch()
    write_bytes(tmp_path / "ours", b"")
    assert (tmp_path / "ours").stat().st_mode == (tmp_path / "theirs").stat().st_mode


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_what_stood_there_stays_when_writing_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str) -> None:
    path = tmp_path / "table.csv"
    write_bytes(path, b"old")

    def full(*_: Any) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, step, full)
    with pytest.raises(SpeckwiseError, match=r"^The disk is full: table\.csv could not be written\.$") as stopped:
        write_bytes(path, b"new")
    assert not isinstance(stopped.value, CallError)  # the call was right: the same one goes on once there is room
    assert path.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["table.csv"]


def test_nothing_is_left_behind_by_ctrl_c(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(*_: Any) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", stopped)
    with pytest.raises(KeyboardInterrupt):
        write_bytes(tmp_path / "x", b"new")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_a_disk_that_is_really_full() -> None:
    """The kernel's own answer, so that the error number is not ours: /dev/full refuses every byte."""
    with pytest.raises(OSError, match="No space") as refused, open("/dev/full", "wb", buffering=0) as file:
        file.write(b"x")
    assert refused.value.errno in files._DISK_FULL


def test_sentences_for_what_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    (tmp_path / "file").touch()
    said = {
        tmp_path / "missing" / "x": "its folder is not there",
        tmp_path / "folder": "a folder of that name stands there",
        tmp_path / "file" / "x": "what should be its folder is a file",
        tmp_path / ("x" * 256): "the system does not allow that name",
        tmp_path / "nul\0": "the system does not allow that name",
    }
    for path, sentence in said.items():
        with pytest.raises(OutputNotWritable) as refused:
            write_bytes(path, b"x")
        assert str(refused.value) == f"{path} can't be written: {sentence}."
    assert sorted(p.name for p in tmp_path.iterdir()) == ["file", "folder"]


@pytest.mark.parametrize(
    ("number", "said"),
    [(errno.EACCES, "permission is denied"), (errno.EROFS, "read-only"), (errno.EIO, "reports an error")],
)
def test_errors_of_the_disk_while_writing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, said: str
) -> None:
    def fails(*_: Any) -> Any:
        raise OSError(number, "x")

    monkeypatch.setattr(os, "open", fails)
    with pytest.raises(OutputNotWritable, match=said):
        write_bytes(tmp_path / "x", b"x")


def test_text_is_utf8_and_keeps_its_line_ends(tmp_path: Path) -> None:
    write_text(tmp_path / "x", "\ufeffחרק,🐛\r\nא\n")
    assert (tmp_path / "x").read_bytes() == "\ufeffחרק,🐛\r\nא\n".encode()


def test_text_with_a_name_that_is_no_unicode(tmp_path: Path) -> None:
    write_text(tmp_path / "x", os.fsdecode(b"IMG\xff.jpg"))
    assert (tmp_path / "x").read_text("utf-8") == "IMG\\udcff.jpg"


class Word(StrEnum):
    PANEL = "panel"


PLAIN = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(codec=None)),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=12,
)


@settings(max_examples=40, deadline=None)
@given(value=PLAIN)
def test_json_comes_back_as_it_was(tmp_path_factory: pytest.TempPathFactory, value: Any) -> None:
    path = tmp_path_factory.getbasetemp() / "value.json"
    write_json(path, value)
    assert json.loads(path.read_bytes()) == value


def test_json_keeps_order_and_letters(tmp_path: Path) -> None:
    write_json(tmp_path / "x", {"z": Word.PANEL, "a": (1, 2.5), Word.PANEL: "חרק"})
    text = (tmp_path / "x").read_text("utf-8")
    assert list(json.loads(text).items()) == [("z", "panel"), ("a", [1, 2.5]), ("panel", "חרק")]
    assert "חרק" in text
    assert text.endswith("}\n")


@pytest.mark.parametrize(
    "value",
    [
        np.float64(1.5),
        np.float32(1.5),
        np.int64(1),
        np.bool_(True),
        np.str_("x"),
        np.zeros(2),
        float("nan"),
        float("inf"),
        Path("x"),
        {1},
        b"x",
    ],
)
def test_json_refuses_what_is_not_plain_and_names_the_place(tmp_path: Path, value: Any) -> None:
    with pytest.raises(TypeError, match=r"^value\['shots'\]\[1\]"):
        write_json(tmp_path / "x", {"shots": ["plain", value]})
    with pytest.raises(TypeError):
        write_json(tmp_path / "x", {np.str_("key"): 1})
    assert list(tmp_path.iterdir()) == []


def test_writing_text_needs_no_picture_library() -> None:
    import subprocess

    script = "import sys, vision.files; print(sorted({'PIL', 'cv2', 'tifffile', 'pi_heif'} & set(sys.modules)))"
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=Path(__file__).parents[1]
    )
    assert done.stdout.strip() == "[]"


# --- pictures ----------------------------------------------------------------------------------------------------------------


def test_jpeg_has_the_colours_and_nothing_else(tmp_path: Path) -> None:
    rgb = np.zeros((40, 60, 3), np.uint8)
    rgb[:20], rgb[20:, :30], rgb[20:, 30:] = (230, 90, 20), (20, 110, 200), (255, 255, 255)
    rgb[10, :] = (20, 110, 200)
    write_picture(tmp_path / "x.jpg", rgb, quality=95)
    with Image.open(tmp_path / "x.jpg") as back:
        assert set(back.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
        assert np.abs(np.asarray(back).astype(int) - rgb).max() < 30  # a line of one pixel keeps its colour
    assert encode_jpeg(rgb, 50) == encode_jpeg(rgb, 50)
    assert len(encode_jpeg(rgb, 30)) < len(encode_jpeg(rgb, 95))


def test_read_only_pixels_can_be_written() -> None:
    rgb = np.full((8, 8, 3), 7, np.uint8)
    rgb.setflags(write=False)
    assert Image.open(io.BytesIO(encode_jpeg(rgb[::-1], 90))).size == (8, 8)


def test_jpeg_refuses_other_arrays_and_sides_it_cannot_hold() -> None:
    for wrong in (np.zeros((4, 4), np.uint8), np.zeros((4, 4, 4), np.uint8), np.zeros((4, 4, 3), np.float32)):
        with pytest.raises(ValueError, match="uint8"):
            encode_jpeg(wrong, 90)
    with pytest.raises(SpeckwiseError, match="65,500"):
        encode_jpeg(np.zeros((1, 65501, 3), np.uint8), 90)
    assert encode_jpeg(np.zeros((1, 65500, 3), np.uint8), 90)


# --- names -------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "stem"),
    [
        ("IMG_0001.JPG", "IMG_0001"),
        ("tray 3/IMG_0001.jpg", "IMG_0001"),
        ("a.b.c.tif", "a.b.c"),
        ("noending", "noending"),
        ("חרקים בכרובית.jpg", "חרקים בכרובית"),
        ("🐛🥦.heic", "🐛🥦"),
        ("=1+1.jpg", "=1+1"),
        ('what:is*this?"<>|\\.jpg', "what_is_this______"),
        ("tab\there\x7f.jpg", "tab_here_"),
        ("  spaced . .jpg", "spaced"),
        (".jpg", "jpg"),
        ("..", "shot"),
        ("", "shot"),
        ("x/", "shot"),
        ("CON.jpg", "_CON"),
        ("con.tar.gz", "_con.tar"),
        ("Lpt1 .jpg", "_Lpt1"),
        ("CONTENTS.jpg", "CONTENTS"),
        ("e\u0301te\u0301.jpg", "\u00e9t\u00e9"),
        ("gnp\u202egpj.exe", "gnp_gpj"),
        (os.fsdecode(b"IMG\xff.jpg"), "IMG_"),
        ("x" * 251 + ".jpg", "x" * 60),
        ("🐛" * 60 + ".jpg", "🐛" * 47),
    ],
)
def test_safe_stem(name: str, stem: str) -> None:
    assert safe_stem(name, HASH) == f"{stem}-01234567"


def test_cutting_leaves_signs_whole() -> None:
    family = "👩\u200d👩\u200d👧"
    assert safe_stem("x" * 58 + family, HASH) == "x" * 58 + "-01234567"
    assert safe_stem("x" * 59 + "ש\u05c1", HASH) == "x" * 59 + "-01234567"
    assert safe_stem("x" * 59 + "👍🏽", HASH) == "x" * 59 + "-01234567"


@given(name=st.text(st.characters(codec=None), max_size=90))
def test_safe_stem_is_safe_everywhere(name: str) -> None:
    """The rules for names on Windows (Microsoft, "Naming Files, Paths, and Namespaces", from memory), POSIX and APFS."""
    stem = safe_stem(name, HASH)
    head = stem.removesuffix("-01234567")
    assert stem != head
    assert 1 <= len(head) <= 60
    assert len(stem.encode()) <= 200
    assert unicodedata.is_normalized("NFC", stem)
    assert not set(stem) & set('/\\:*?"<>|')
    assert all(ord(c) >= 32 and not 127 <= ord(c) < 160 for c in stem)
    assert head == head.strip(" .")
    device = stem.split(".")[0].rstrip().upper()
    assert device not in {"CON", "PRN", "AUX", "NUL"} | {f"{d}{n}" for d in ("COM", "LPT") for n in range(10)}
    assert safe_stem(stem + ".jpg", HASH).startswith(head[:40])  # made safe once, it stays as it is


@settings(max_examples=40, deadline=None)
@given(name=st.text(max_size=60))
def test_safe_stem_can_be_written(tmp_path_factory: pytest.TempPathFactory, name: str) -> None:
    path = tmp_path_factory.getbasetemp() / (safe_stem(name, HASH) + ".jpg")
    write_bytes(path, b"x")
    assert path.name in os.listdir(path.parent)
    path.unlink()


def test_two_shots_of_one_name_get_two_stems() -> None:
    assert safe_stem("1.jpg", "a" * 64) != safe_stem("1.jpg", "b" * 64)
