"""Photographs in zip archives, on this machine's disk and at addresses; Python's own zipfile writes them."""

from __future__ import annotations

import io
import os
import tracemalloc
import unicodedata
import warnings
import zipfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from far_servers import Handler, Server, web

from cli.batch.addresses import RemoteFile, find_at
from cli.batch.far import store, trouble
from cli.batch.sources import FileFacts
from vision.errors import CallError, UnreadableShot

ENDINGS = (".jpg", ".png")
CENTRAL, LOCAL = b"PK\x01\x02", b"PK\x03\x04"
"""What a member's entry in the list at the end, and what the member itself starts with (APPNOTE.TXT, 4.3.12 and 4.3.7)."""


@pytest.fixture(autouse=True)
def no_pause(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(trouble, "_PAUSE_S", 0.0)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "photos.zip"


def archive(*members: tuple[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    """An archive with these members, also of one name."""
    written = io.BytesIO()
    with warnings.catch_warnings(), zipfile.ZipFile(written, "w", method) as file:
        warnings.simplefilter("ignore", UserWarning)  # of names that are there already
        for name, data in members:
            file.writestr(zipfile.ZipInfo(name, (2026, 5, 4, 3, 2, 0)), data, method)
    return written.getvalue()


def named(*names: str) -> bytes:
    """An archive whose members hold their own names."""
    return archive(*((name, name.encode()) for name in names))


def found(address: str) -> dict[str, RemoteFile]:
    """What is at an address by the names of the shots, in the order in which it is given."""
    listed = list(find_at(address, ENDINGS))
    assert len({name for _, name in listed}) == len({place.name for place, _ in listed}) == len(listed)
    return {name: place for place, name in listed}


def contents(address: str) -> dict[str, bytes]:
    return {name: place.read() for name, place in found(address).items()}


def refusal(address: str) -> str:
    """The sentence that an address is refused with; nothing of what a package said is printed behind it."""
    with pytest.raises(CallError) as refused:
        list(find_at(address, ENDINGS))
    assert refused.value.__cause__ is None
    return str(refused.value)


def unread(place: RemoteFile) -> str:
    """The sentence in place of a photograph."""
    with pytest.raises(UnreadableShot) as refused:
        place.read()
    return str(refused.value)


class TestWhatIsMeant:
    NAMES = ("b.jpg", "in/a.jpg", "in/side/c.PNG", "in/notes.txt", "in.jpg", "in-2/d.jpg", ".h.jpg", "__MACOSX/._b.jpg")

    def test_all_of_it_a_folder_of_it_or_one_file(self, path: Path) -> None:
        path.write_bytes(named(*self.NAMES))
        all_of_it = contents(f"zip://{path}")
        assert all_of_it == {
            name: name.encode() for name in ("b.jpg", "in-2/d.jpg", "in.jpg", "in/a.jpg", "in/side/c.PNG")
        }
        assert list(all_of_it) == sorted(all_of_it)
        assert contents(f"zip://::{path}") == contents(f"ZIP:///::{path}") == contents(f"zip://{path}/") == all_of_it
        assert (
            list(contents(f"zip://in::{path}"))
            == list(contents(f"zip://in/::file://{path}"))
            == ["a.jpg", "side/c.PNG"]
        )
        assert contents(f"zip://in/notes.txt::{path}") == {"notes.txt": b"in/notes.txt"}

    def test_a_path_as_a_person_types_it(self, path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        path.write_bytes(named("a.jpg"))
        monkeypatch.chdir(path.parent)
        for address in ("zip://photos.zip", "zip://./photos.zip", "zip://::photos.zip", "zip://a.jpg::photos.zip"):
            place = found(address)["a.jpg"]
            assert place.name == f"zip://a.jpg::{path}", "the same from wherever it is called"

    def test_what_is_not_there(self, path: Path) -> None:
        path.write_bytes(named("in/a.jpg"))
        hint = "One folder of an archive is written zip://FOLDER::ARCHIVE."
        assert refusal(f"zip://{path}/in") == f"zip://{path}/in can't be used: it is not there. {hint}"
        assert refusal(f"zip://none::{path}") == f"zip://none::{path} can't be used: it is not there."
        assert "it is not there" in refusal(f"zip://i::{path}")
        assert "it is not there" in refusal("zip://none.zip")
        assert "it is not there" in refusal("zip://")
        assert "it is not there" in refusal(f"zip://::zip://in::{path}"), "a folder is no archive"

    def test_an_archive_in_an_archive(self, path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        path.write_bytes(archive(("in/inner.zip", named("a/b.jpg"))))
        address = f"zip://a::zip://in/inner.zip::{path}"
        assert contents(address) == {"b.jpg": b"a/b.jpg"}
        assert found(address)["b.jpg"].name == f"zip://a/b.jpg::zip://in/inner.zip::{path}"
        monkeypatch.setattr(store, "MOST_BYTES", 10)
        assert refusal(address) == f"{address} can't be used. The file is larger than 0 MiB, the most that is read."


class TestNames:
    def test_are_only_names(self, path: Path, tmp_path: Path) -> None:
        outside = tmp_path / "outside.jpg"
        names = ("../outside.jpg", "../../x/./y.jpg", f"{outside}", "a/../../b.jpg", r"c\d.jpg", "C:/e.jpg", "f//g.jpg")
        path.write_bytes(named(*names))
        before = sorted(tmp_path.rglob("*"))
        places = contents(f"zip://{path}")
        assert sorted(tmp_path.rglob("*")) == before
        assert places.pop(str(outside)[1:]) == str(outside).encode()
        assert places == {
            "../outside.jpg": b"../outside.jpg",
            "../../x/y.jpg": b"../../x/./y.jpg",
            "a/../../b.jpg": b"a/../../b.jpg",
            r"c\d.jpg": rb"c\d.jpg",
            "C:/e.jpg": b"C:/e.jpg",
            "f/g.jpg": b"f//g.jpg",
        }

    def test_two_members_of_one_name_are_two_shots(self, path: Path) -> None:
        forms = [unicodedata.normalize(form, "é/x.jpg") for form in ("NFC", "NFD")]
        path.write_bytes(
            archive(("a.jpg", b"1"), ("b.jpg", b"2"), ("a.jpg", b"3"), *((form, form.encode()) for form in forms))
        )
        assert contents(f"zip://{path}") == {
            "a.jpg": b"1",
            "a.jpg~2": b"3",
            "b.jpg": b"2",
            forms[0]: forms[0].encode(),
            f"{forms[0]}~2": forms[1].encode(),
        }
        assert contents(f"zip://a.jpg::{path}") == {"a.jpg": b"1", "a.jpg~2": b"3"}
        assert set(contents(f"zip://{forms[1].partition('/')[0]}::{path}")) == {"x.jpg", "x.jpg~2"}

    def test_what_is_known_of_a_member(self, path: Path) -> None:
        path.write_bytes(archive(("a.jpg", b"123456789")))
        # The check value of CRC-32, of these nine digits (ITU-T V.42, as in every catalogue of CRCs).
        assert found(f"zip://{path}")["a.jpg"].facts() == FileFacts(9, "CRC cbf43926 2026-05-04T03:02:00")


def patched(data: bytes, start: bytes, at: int, value: int, size: int) -> bytes:
    """The archive with another number in the first entry that begins so."""
    place = data.index(start) + at
    return data[:place] + value.to_bytes(size, "little") + data[place + size :]


def declaring(data: bytes, size: int) -> bytes:
    """The archive with another size of its first member, both where it stands and in the list."""
    return patched(patched(data, CENTRAL, 24, size, 4), LOCAL, 22, size, 4)


class TestHostile:
    def test_more_than_is_read_is_refused_before_it_is_unpacked(
        self, path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(store, "MOST_BYTES", 1 << 20)
        path.write_bytes(archive(("most.jpg", bytes(1 << 20)), ("more.jpg", bytes(50 << 20))))
        places = found(f"zip://{path}")
        assert places["most.jpg"].read() == bytes(1 << 20)
        tracemalloc.start()
        try:
            assert unread(places["more.jpg"]) == "The file is larger than 1 MiB, the most that is read."
            assert tracemalloc.get_traced_memory()[1] < 1 << 20
        finally:
            tracemalloc.stop()

    def test_a_member_that_gives_more_than_it_declares(self, path: Path) -> None:
        path.write_bytes(declaring(archive(("a.jpg", bytes(50 << 20)), ("b.jpg", b"b")), 100))
        places = found(f"zip://{path}")
        assert places["a.jpg"].facts().size_bytes == 100
        tracemalloc.start()
        try:
            assert unread(places["a.jpg"]) == "The file is broken in its archive; copy the archive again."
            assert tracemalloc.get_traced_memory()[1] < 32 << 20
        finally:
            tracemalloc.stop()
        assert places["b.jpg"].read() == b"b"

    def test_a_member_that_gives_less_than_it_declares(self, path: Path) -> None:
        path.write_bytes(declaring(archive(("a.jpg", b"short"), method=zipfile.ZIP_STORED), 100))
        assert unread(found(f"zip://{path}")["a.jpg"]) == "The file is broken in its archive; copy the archive again."

    @pytest.mark.parametrize("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
    def test_methods_that_can_not_be_stopped_half_way(self, path: Path, method: int) -> None:
        path.write_bytes(archive(("a.jpg", b"a"), method=method))
        said = "The file is packed in its archive in a way that is not read; unpack it first."
        assert unread(found(f"zip://{path}")["a.jpg"]) == said

    def test_methods_that_nobody_knows(self, path: Path) -> None:
        path.write_bytes(patched(archive(("a.jpg", b"a")), CENTRAL, 10, 99, 2))
        assert "in a way that is not read" in unread(found(f"zip://{path}")["a.jpg"])

    @pytest.mark.parametrize("flags", [0x1, 0x41])
    def test_a_member_with_a_password(self, path: Path, flags: int) -> None:
        # Bit 0 says that it is locked, bit 6 how (APPNOTE.TXT, 4.4.4).
        path.write_bytes(patched(archive(("a.jpg", b"a"), ("b.jpg", b"b")), CENTRAL, 8, flags, 2))
        places = found(f"zip://{path}")
        assert unread(places["a.jpg"]) == "The file is locked with a password in its archive; unpack it first."
        assert places["b.jpg"].read() == b"b"

    def test_one_broken_member(self, path: Path) -> None:
        data = archive(("a.jpg", b"first" * 100), ("b.jpg", b"b"), method=zipfile.ZIP_STORED)
        for broken in (
            data.replace(b"first", b"f1rst", 1),
            patched(data, LOCAL, 0, 0, 4),
            patched(data, CENTRAL, 42, 9999, 4),
        ):
            path.write_bytes(broken)
            places = found(f"zip://{path}")
            assert unread(places["a.jpg"]) == "The file is broken in its archive; copy the archive again."
            assert places["b.jpg"].read() == b"b"

    def test_what_is_no_archive(self, path: Path) -> None:
        whole = named("a.jpg", "b.jpg")
        for data in (b"", b"x", whole[:-30], whole[:40], b"x" * 100_000, whole[:-22] + b"PK\x05\x06" + b"\xff" * 18):
            path.write_bytes(data)
            said = f"zip://{path} can't be used: it is no archive of this kind, or it is broken; copy it again."
            assert refusal(f"zip://{path}") == said
        os.mkfifo(path.parent / "pipe")
        for other in (path.parent, path.parent / "pipe"):
            assert "it is no archive" in refusal(f"zip://{other}")
        path.write_bytes(archive())
        assert found(f"zip://{path}") == {}

    def test_names_that_are_no_utf_8(self, path: Path) -> None:
        path.write_bytes(named("é.jpg").replace("é".encode(), b"\xff\xff"))
        assert "it is no archive of this kind, or it is broken" in refusal(f"zip://{path}")


class TestInThreads:
    CONTENTS = {f"{number:02}.jpg": bytes([number]) * 30_000 + os.urandom(1) for number in range(60)}  # noqa: RUF012

    def test_a_local_archive(self, path: Path) -> None:
        path.write_bytes(archive(*self.CONTENTS.items()))
        self.check(f"zip://{path}")

    def test_an_archive_on_a_web_server(self, web_server: Server, path: Path) -> None:
        path.write_bytes(archive(*self.CONTENTS.items()))
        self.check(f"zip://::{web_server.url}/photos.zip")

    def check(self, address: str) -> None:
        with ThreadPoolExecutor(8) as pool:
            read = pool.map(lambda each: (each[1], each[0].read()), find_at(address, ENDINGS))
            assert dict(read) == self.CONTENTS


@pytest.fixture
def web_server(tmp_path: Path) -> Iterator[Server]:
    with web(tmp_path) as server:
        server.gives_parts = True
        yield server


class TestAtAddresses:
    def test_on_a_web_server_only_what_is_asked_for_is_fetched(self, web_server: Server, path: Path) -> None:
        data = os.urandom(3 << 20)
        path.write_bytes(archive(("in/a.jpg", data), ("in/b.jpg", b"b"), ("c.jpg", os.urandom(8 << 20))))
        secret = web_server.url.replace("//", "//ida:sesame17@")
        places = found(f"zip://in::{secret}/photos.zip?sesame17")
        assert list(places) == ["a.jpg", "b.jpg"]
        assert places["a.jpg"].name == f"zip://in/a.jpg::{web_server.url}/photos.zip"
        assert places["a.jpg"].read() == data
        asked = [headers["Range"].removeprefix("bytes=").split("-") for _, _, headers in web_server.asked]
        assert sum(int(end) + 1 - int(start) for start, end in asked) < 7 << 20
        assert len(asked) < 10

    def test_a_web_server_that_gives_whole_files_only(self, web_server: Server, path: Path) -> None:
        path.write_bytes(named("a.jpg"))
        web_server.gives_parts = False
        address = f"zip://::{web_server.url}/photos.zip"
        why = "the server does not give parts of a file; download the archive and name the copy"
        assert refusal(address) == f"{address} can't be used: {why}."

    def test_a_network_that_fails_is_no_broken_archive(self, web_server: Server, path: Path) -> None:
        path.write_bytes(archive(("a.jpg", os.urandom(4 << 20)), ("b.jpg", os.urandom(4 << 20))))
        address = f"zip://::{web_server.url}/photos.zip"
        place = found(address)["a.jpg"]

        def fails(handler: Handler) -> None:
            size = str(path.stat().st_size)
            handler.answer(206, b"P", {"Content-Range": f"bytes 0-0/{size}"}) if "0-0" in handler.headers[
                "Range"
            ] else (handler.answer(403))

        web_server.odd["/photos.zip"] = fails
        assert refusal(address) == f"{address} can't be used: access is refused."
        assert unread(place) == "The file may not be read: access is refused."
