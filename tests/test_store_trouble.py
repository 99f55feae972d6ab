"""The record when things go wrong: full disks, files that are held, read-only or something else, journals, and programs that are killed."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from made_answers import added, answer
from own_postgres import Server, shared

from cli.review import database
from cli.review.store import Store, StoreError, sqlite_url
from vision.errors import CallError, DiskFull

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parent.parent
LONG = "x" * 1500


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    with shared() as server:
        yield server


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "decisions.sqlite"


@pytest.fixture(params=["WAL", "DELETE"])
def mode(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """Each kind of journal, whatever disk the tests run on."""
    monkeypatch.setattr(database, "journal_mode", lambda path: request.param)
    return str(request.param)


def whole(path: Path) -> list[str]:
    """The tokens of the answers in a file, in order, as Python's own module reads them, once it has checked the file."""
    connection = sqlite3.connect(path)
    assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    tokens = [token for (token,) in connection.execute("SELECT token FROM answers ORDER BY number")]
    connection.close()
    return tokens


def fill(store: Store) -> int:
    """Answers until the disk is full; returns how many were kept."""
    for n in range(400):
        try:
            store.add_answer(answer(f"t{n}", note=LONG))
        except DiskFull:
            return n
    raise AssertionError("the disk was not full")


class TestAFullDisk:
    def test_is_told_and_the_record_goes_on_once_there_is_room(self, path: Path, mode: str) -> None:
        store = Store(sqlite_url(path))
        pages = _pragma(store, "page_count")
        _pragma(store, f"max_page_count={pages + 8}")
        kept = fill(store)
        assert kept > 2
        assert [each.answer.token for each in store.said()] == whole(path) == [f"t{n}" for n in range(kept)]
        with pytest.raises(
            DiskFull, match=r"^The disk is full: the answer could not be kept\. Make room; then it is sent again\.$"
        ):
            store.add_answer(answer("again", note=LONG))
        _pragma(store, f"max_page_count={pages + 100}")
        # The page sends it again, by the same token.
        assert store.add_answer(answer(f"t{kept}", note=LONG)).number == kept + 1
        store.close()
        assert whole(path) == [f"t{n}" for n in range(kept + 1)]

    @pytest.mark.parametrize("size_kib", [150, 250])
    def test_of_the_system_s_own(self, tmp_path: Path, mode: str, size_kib: int) -> None:
        with small_disk(tmp_path / "disk", size_kib) as disk:
            store = Store(sqlite_url(disk / "decisions.sqlite"))
            kept = fill(store)
            assert len(store.said()) == kept
            with pytest.raises(DiskFull):
                store.add_speck(added("a", shot=LONG * 8))
            subprocess.run(["mount", "-o", "remount,size=4m", disk], check=True)
            assert store.add_answer(answer(f"t{kept}", note=LONG)).number == kept + 1
            store.close()
            assert whole(disk / "decisions.sqlite") == [f"t{n}" for n in range(kept + 1)]

    def test_has_no_room_for_a_new_record(self, tmp_path: Path, mode: str) -> None:
        with small_disk(tmp_path / "disk", 40) as disk:
            with pytest.raises(DiskFull):
                Store(sqlite_url(disk / "decisions.sqlite"))
            subprocess.run(["mount", "-o", "remount,size=4m", disk], check=True)
            store = Store(sqlite_url(disk / "decisions.sqlite"))
            store.add_answer(answer("a"))
            store.close()
            assert whole(disk / "decisions.sqlite") == ["a"]


def _pragma(store: Store, pragma: str) -> int:
    """Asks or sets something of the one connection that the store has."""
    with store._engine.connect() as connection:
        return int(connection.exec_driver_sql(f"PRAGMA {pragma}").scalar_one())


@contextmanager
def small_disk(at: Path, size_kib: int) -> Iterator[Path]:
    """A disk of that size, in memory. Skips where none can be had."""
    at.mkdir()
    mounting = ["mount", "-t", "tmpfs", "-o", f"size={size_kib}k", "none", str(at)]
    if os.geteuid() != 0 or subprocess.run(mounting, capture_output=True, check=False).returncode != 0:
        pytest.skip("Only root may make a small disk to fill.")
    try:
        yield at
    finally:
        subprocess.run(["umount", "--lazy", str(at)], check=True)


class TestAFileThatIsHeld:
    def test_says_so_after_the_wait_and_goes_on(self, path: Path, mode: str, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(database, "_WAIT_S", 0.3)
        store = Store(sqlite_url(path))
        store.add_answer(answer("a"))
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        began = time.monotonic()
        with pytest.raises(StoreError, match=rf"^The record {path} can't be used: database is locked\.$"):
            store.add_answer(answer("b"))
        assert 0.25 < time.monotonic() - began < 10
        # What stands can still be read.
        assert [each.answer.token for each in store.said()] == ["a"]
        with pytest.raises(CallError, match=r"^--store: The record .* database is locked\.$"):
            Store(sqlite_url(path))
        other.execute("COMMIT")
        store.add_answer(answer("b"))
        store.close()
        assert whole(path) == ["a", "b"]

    def test_for_a_while_is_waited_for(self, path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        # A record that had the plain journal: where another writes, SQLite does not wait before it changes the journal's kind.
        with monkeypatch.context() as plain:
            plain.setattr(database, "journal_mode", lambda path: "DELETE")
            Store(sqlite_url(path)).close()
        monkeypatch.setattr(database, "journal_mode", lambda path: "WAL")
        other = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
        other.execute("BEGIN IMMEDIATE")
        release = threading.Timer(0.4, lambda: other.execute("COMMIT"))
        release.start()
        store = Store(sqlite_url(path))
        store.add_answer(answer("a"))
        release.join()
        store.close()
        assert whole(path) == ["a"]

    def test_on_a_server_likewise(self, server: Server, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(database, "_WAIT_S", 1)
        store = Store(server.url(name := server.fresh()))
        with server.connect(name) as other:
            other.execute(f"SELECT pg_advisory_lock({database._ONE_WRITER})")
            # So that it ends even where nobody's patience does.
            release = threading.Timer(20, other.close)
            release.start()
            with pytest.raises(StoreError, match="canceling statement due to lock timeout"):
                store.add_answer(answer("a"))
            release.cancel()
            assert store.said() == []
        store.add_answer(answer("a"))
        assert len(store.said()) == 1
        store.close()


class TestTheJournal:
    def test_is_the_kind_that_the_disk_bears(self, path: Path, mode: str) -> None:
        store = Store(sqlite_url(path))
        seen = {each.name for _ in _answers(store, 5) for each in path.parent.iterdir()}
        more = {f"{path.name}-wal", f"{path.name}-shm"} if mode == "WAL" else set()
        assert seen == {path.name} | more
        other = sqlite3.connect(path)
        assert other.execute("PRAGMA journal_mode").fetchone() == (mode.lower(),)
        other.close()
        store.close()
        assert os.listdir(path.parent) == [path.name]

    def test_changes_when_a_record_moves_to_another_disk(self, path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        for n, mode in enumerate(["WAL", "DELETE", "WAL"]):
            monkeypatch.setattr(database, "journal_mode", lambda path, mode=mode: mode)
            store = Store(sqlite_url(path))
            assert [each.answer.token for each in store.said()] == [f"t{each}" for each in range(n)]
            store.add_answer(answer(f"t{n}"))
            assert (path.parent / f"{path.name}-wal").exists() == (mode == "WAL")
            store.close()
        assert whole(path) == ["t0", "t1", "t2"]

    def test_waits_for_the_disk_itself(self, path: Path, mode: str) -> None:
        store = Store(sqlite_url(path))
        assert _pragma(store, "synchronous") == 2  # FULL
        store.close()


def _answers(store: Store, count: int) -> Iterator[Any]:
    for n in range(count):
        yield store.add_answer(answer(f"t{n}"))


class TestAnotherFile:
    @pytest.mark.parametrize(
        "data", [b"answers\n" * 300, b"%PDF-1.7\n", b"\x00" * 5000, b"SQLite format 3\x00" + b"\xff" * 900]
    )
    def test_that_is_no_database_stays_as_it_is(self, path: Path, mode: str, data: bytes) -> None:
        path.write_bytes(data)
        with pytest.raises(CallError, match=rf"^--store: The record {path} can't be used: file is not a database\.$"):
            Store(sqlite_url(path))
        assert path.read_bytes() == data
        assert os.listdir(path.parent) == [path.name]

    def test_that_is_cut_short_is_not_made_anew(self, path: Path, mode: str) -> None:
        store = Store(sqlite_url(path))
        fields = [answer(f"t{n}", note=LONG) for n in range(9)]
        for each in fields:
            store.add_answer(each)
        store.close()
        data = path.read_bytes()[:20_000]
        path.write_bytes(data)
        try:
            store = Store(sqlite_url(path))
        except CallError as refused:
            sentence = str(refused)
        else:
            with pytest.raises(StoreError) as lost:
                store.said()
            sentence = str(lost.value)
            store.close()
        assert "can't be used: database disk image is malformed." in sentence

    def test_that_may_only_be_read_is_told(self, mode: str) -> None:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "decisions.sqlite"
            store = Store(sqlite_url(path))
            store.add_answer(answer("a"))
            store.close()
            path.chmod(0o444)
            Path(folder).chmod(0o555)
            before = path.read_bytes()
            # With a plain journal it can still be read; a log of writes can't even be made.
            with (
                nobody_s(),
                pytest.raises((CallError, StoreError), match=r"can't be used: (attempt to write|unable to open)"),
            ):
                read_and_add(path)
            assert path.read_bytes() == before
            Path(folder).chmod(0o755)
            assert whole(path) == ["a"]


def read_and_add(path: Path) -> None:
    store = Store(sqlite_url(path))
    assert len(store.said()) == 1
    store.add_answer(answer("b"))


@contextmanager
def nobody_s() -> Iterator[None]:
    """Rights that root does not keep: those of a user who owns nothing."""
    root = os.geteuid() == 0
    if root:
        os.seteuid(65534)
    try:
        yield
    finally:
        if root:
            os.seteuid(0)


WRITER = """
import sys
from cli.review.store import Store
from made_answers import answer
store = Store(sys.argv[1])
for n in range(100_000):
    print(store.add_answer(answer(f"{sys.argv[2]}-{n}", note="x" * 900)).number, flush=True)
"""


class TestKilled:
    @pytest.mark.parametrize("where", ["WAL", "DELETE", "server"])
    def test_loses_nothing_that_was_acknowledged(self, where: str, path: Path, request: pytest.FixtureRequest) -> None:
        code = WRITER
        if where == "server":
            server: Server = request.getfixturevalue("server")
            url = server.url(server.fresh())
        else:
            url = sqlite_url(path)
            code = f"from cli.review import database\ndatabase.journal_mode = lambda path: {where!r}\n{WRITER}"
        acknowledged: list[int] = []
        for round_, least in enumerate((1, 37)):
            acknowledged += killed_after(least, [sys.executable, "-c", code, url, str(round_)])
            if where != "server":
                assert len(whole(path)) >= len(acknowledged)
            store = Store(url)
            stand = [each.number for each in store.said()]
            assert {*acknowledged} <= {*stand}
            # At most the one that was under way stands beside them.
            assert len(stand) <= len(acknowledged) + round_ + 1
            assert len({each.answer.token for each in store.said()}) == len(stand)
            store.close()


def killed_after(least: int, words: list[str]) -> list[int]:
    """Starts a writer, kills it after that many lines, and returns all numbers it printed."""
    paths = os.pathsep.join([str(ROOT), str(ROOT / "tests")])
    process = subprocess.Popen(words, env=os.environ | {"PYTHONPATH": paths}, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    lines = [process.stdout.readline() for _ in range(least)]
    process.send_signal(signal.SIGKILL)
    # By the same reader: communicate() would miss what that one holds already.
    lines += process.stdout.readlines()
    process.stdout.close()
    process.wait(30)
    # A last line without its end was not yet told in full.
    lines = [line for line in lines if line.endswith("\n")]
    return [int(line) for line in lines]
