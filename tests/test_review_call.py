"""`speckwise review` as a command: what it refuses with nothing written, one desk a folder, how it ends, and where answers are kept."""

from __future__ import annotations

import ctypes
import http.client
import json
import os
import re
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from filelock import FileLock
from made_desk import act, desk_of, drawn_line, made_folder, shot_of, speck
from opened_desk import Opened, start_desk
from scored_folder import RUN, Made, write_folder
from starlette.testclient import TestClient

import cli.review.call
from cli.batch.ledger import Ledger
from cli.batch.standing import LEDGER, RECORD
from cli.entry import run
from cli.review.shelf import STORE, read_shelf, store_beside
from cli.review.store import Store, sqlite_url
from faked import everything

ROOT = Path(__file__).parent.parent


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return made_folder(tmp_path)


Call = Callable[..., tuple[int, str, str]]


@pytest.fixture
def call(capfd: pytest.CaptureFixture[str]) -> Call:
    """Runs a command line in this process: its exit code, and what it said."""

    def made(*words: object) -> tuple[int, str, str]:
        code = run([str(word) for word in words])
        said = capfd.readouterr()
        return code, said.out, said.err

    return made


def refused(outcome: tuple[int, str, str]) -> str:
    """The sentence of a call that was wrong."""
    code, out, err = outcome
    assert (code, out) == (2, "")
    assert err.startswith("speckwise: ")
    assert err.strip().count("\n") == 0
    assert err.rstrip()[-1] in ".)"
    assert "Traceback" not in err
    return err


class TestWhatIsRefused:
    def test_a_folder_that_is_not_there(self, tmp_path: Path, call: Call) -> None:
        assert "nowhere is not there." in refused(call("review", tmp_path / "nowhere"))
        assert list(tmp_path.iterdir()) == []

    def test_what_has_not_been_scored(self, tmp_path: Path, call: Call) -> None:
        for name in ("empty", "pictures", "others"):
            (tmp_path / name).mkdir()
        (tmp_path / "pictures" / "a.jpg").write_bytes(b"x")
        (tmp_path / "others" / RECORD).write_text('{"app": "another", "run": "r1"}')
        (tmp_path / "file").write_bytes(b"x")
        (tmp_path / "link").symlink_to(tmp_path / "gone")
        before = everything(tmp_path)
        for name in ("empty", "pictures", "others", "file"):
            assert "no folder that `speckwise score` has written" in refused(call("review", tmp_path / name))
        assert "is not there" in refused(call("review", tmp_path / "link"))
        assert everything(tmp_path) == before

    def test_a_run_without_a_shot(self, tmp_path: Path, call: Call) -> None:
        folder = write_folder(tmp_path / "out", [])
        before = everything(folder)
        assert "without a single shot" in refused(call("review", folder))
        assert everything(folder) == before

    def test_a_damaged_ledger(self, folder: Path, call: Call) -> None:
        (folder / LEDGER).write_bytes(b"no ledger" * 999)
        before = everything(folder)
        assert "is damaged: score the photographs into another folder" in refused(call("review", folder))
        assert everything(folder) == before

    def test_a_ledger_with_other_columns(self, folder: Path, call: Call) -> None:
        ledger = Ledger(folder / LEDGER, RUN)
        entry = next(iter(ledger))
        ledger.add(replace(entry, candidates=[row[:-1] for row in entry.candidates]))
        ledger.close()
        before = everything(folder)
        assert "was written by version 0.1.0" in refused(call("review", folder))
        assert everything(folder) == before

    @pytest.mark.parametrize("port", ["0", "-1", "65536"])
    def test_no_port(self, folder: Path, call: Call, port: str) -> None:
        before = everything(folder)
        assert "--port" in refused(call("review", folder, "--port", port))
        assert everything(folder) == before

    def test_a_file_that_is_no_table(self, folder: Path, call: Call, tmp_path: Path) -> None:
        (tmp_path / "picture.png").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(200))
        assert "picture.png" in refused(call("review", folder, "--take", str(tmp_path / "picture.png")))

    def test_take_and_give_at_once(self, folder: Path, call: Call) -> None:
        before = everything(folder)
        assert "two calls" in refused(call("review", folder, "--take", "a.csv", "--give", "b.csv"))
        assert everything(folder) == before

    @pytest.mark.parametrize("url", ["nonsense", "sqlite://", "nosuch://a/b", "sqlite:////nowhere/at/all/x.sqlite"])
    def test_a_record_that_can_not_be(self, folder: Path, call: Call, url: str) -> None:
        before = everything(folder)
        refused(call("review", folder, "--port", free_port(), "--store", url))
        assert {name: data for name, data in everything(folder).items() if "review.lock" not in name} == before

    def test_a_record_that_is_something_else(self, folder: Path, call: Call) -> None:
        (folder / STORE).write_bytes(b"a person's own file, " * 99)
        refused(call("review", folder, "--port", free_port()))
        assert (folder / STORE).read_bytes() == b"a person's own file, " * 99

    def test_a_port_that_is_taken(self, folder: Path, call: Call) -> None:
        with socket.socket() as other:
            other.bind(("127.0.0.1", 0))
            other.listen()
            port = other.getsockname()[1]
            said = refused(call("review", folder, "--port", port))
        assert f"Port {port} can't be used" in said
        assert not (folder / STORE).exists()
        FileLock(str(folder / ".review.lock"), timeout=0).acquire().lock.release()

    def test_a_folder_that_takes_no_files(self, folder: Path) -> None:
        before = everything(folder)
        folder.chmod(0o555)
        try:
            command = [sys.executable, "-c", "from cli.entry import main; main()", "review", str(folder)]
            done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, preexec_fn=_as_anybody)
        finally:
            folder.chmod(0o755)
        assert "can't be written to: Permission denied." in refused((done.returncode, done.stdout, done.stderr))
        assert everything(folder) == before


def _as_anybody() -> None:
    """Takes from root what lets it write where it may not (capabilities(7): CAP_DAC_OVERRIDE, prctl(2): PR_CAPBSET_DROP)."""
    if os.geteuid() == 0:
        assert ctypes.CDLL(None).prctl(24, 1, 0, 0, 0) == 0


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Opened, Path]]:
    """A desk that listens, and its folder."""
    folder = made_folder(tmp_path_factory.mktemp("listening"))
    port = free_port()
    desk = start_desk(folder, "--port", str(port), "--name", "Ida")
    assert desk.port == port
    yield desk, folder
    desk.kill()


def ask(opened: Opened, method: str, path: str, body: Any = None, **headers: str) -> tuple[int, bytes]:
    connection = http.client.HTTPConnection("127.0.0.1", opened.port, timeout=10)
    try:
        # As it stands: dots and backslashes are not put in order on the way.
        connection.request(method, path, body, headers={name.replace("_", "-"): text for name, text in headers.items()})
        answer = connection.getresponse()
        return answer.status, answer.read()
    finally:
        connection.close()


class TestADeskThatListens:
    def test_says_where(self, opened: tuple[Opened, Path]) -> None:
        desk, folder = opened
        assert desk.address == f"http://127.0.0.1:{desk.port}/"
        assert re.fullmatch(rf"{desk.address}supervisor/[\w-]{{32}}", desk.supervisor)
        status, body = ask(desk, "GET", "/opening")
        assert (status, json.loads(body)["reviewer"], json.loads(body)["folder"]) == (200, "Ida", folder.name)

    def test_is_told_to_whoever_opens_another(self, opened: tuple[Opened, Path], call: Call) -> None:
        desk, folder = opened
        before = everything(folder)
        for options in ((), ("--port", free_port()), ("--share",)):
            said = refused(call("review", folder, *options))
            assert "under review already" in said
            assert f"{desk.address} (process {desk.process.pid} on {socket.gethostname()} since 20" in said
        assert everything(folder) == before

    def test_holds_to_its_name_and_bounds_over_a_socket(self, opened: tuple[Opened, Path]) -> None:
        desk, _ = opened
        status, body = ask(desk, "GET", "/", host="evil.example")
        assert (status, b"does not go by that name" in body) == (403, True)
        chunks = (b" " * 1000 for _ in range(200))
        assert ask(desk, "POST", "/answer", chunks, content_type="application/json")[0] == 413
        for path in (
            "/static/../desk.py",
            "/static/..%2fdesk.py",
            "/static/..\\desk.py",
            "/../../etc/passwd",
            "//etc/passwd",
        ):
            status, body = ask(desk, "GET", path)
            assert (status, b"import" in body, b"root:" in body) == (404, False, False)

    def test_writes_its_supervisor_s_key_nowhere(self, opened: tuple[Opened, Path]) -> None:
        desk, folder = opened
        key = desk.supervisor.rpartition("/")[2]
        form = "application/x-www-form-urlencoded"
        assert ask(desk, "POST", f"/supervisor/{key}", "share=50&by=Lea", content_type=form)[0] == 200
        files = everything(folder.parent)
        assert any(".review.json" in str(name) for name in files)
        assert [name for name, data in files.items() if key.encode() in data] == []


def test_keeps_answers_as_they_come_and_loses_none_by_ctrl_c(folder: Path) -> None:
    desk = start_desk(folder, "--port", str(free_port()))
    try:
        tokens: list[str] = []
        for flag in list(read_shelf(folder).flags)[:2]:
            fields = act(flag)
            status, reply = ask(desk, "POST", "/answer", json.dumps(fields), content_type="application/json")
            assert (status, json.loads(reply)["token"]) == (200, fields["token"])
            tokens.append(fields["token"])
            # On the disk before the desk says so.
            with closing(sqlite3.connect(f"file:{folder / STORE}?mode=ro", uri=True)) as record:
                assert [row[0] for row in record.execute("SELECT token FROM answers ORDER BY number")] == tokens
        # A browser keeps its connection: that must not keep the desk from closing.
        idle = http.client.HTTPConnection("127.0.0.1", desk.port, timeout=10)
        idle.request("GET", "/opening")
        idle.getresponse().read()
        desk.process.send_signal(signal.SIGINT)
        said = desk.process.communicate(timeout=15)[0]
        idle.close()
    finally:
        if desk.process.poll() is None:
            desk.kill()
    assert desk.process.returncode == 130
    assert "The desk is closed. 5 flags of the first reading are open." in said
    assert "Traceback" not in said
    assert not (folder / ".review.json").exists()
    FileLock(str(folder / ".review.lock"), timeout=0).acquire().lock.release()
    with desk_of(folder) as after:
        assert [each.answer.token for each in after.store.said()] == tokens


@pytest.fixture
def served(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """Applications that would have been served: each call ends at once, as by Ctrl-C."""
    apps: list[Any] = []

    def ends(server: uvicorn.Server, sockets: list[socket.socket]) -> None:
        apps.append((server.config.app, sockets[0].getsockname()))
        raise KeyboardInterrupt

    monkeypatch.setattr(uvicorn.Server, "run", ends)
    return apps


class TestWhereAnswersAreKept:
    @pytest.mark.usefixtures("served")
    def test_of_an_earlier_run_with_the_newest(self, folder: Path, call: Call) -> None:
        with desk_of(folder) as desk:
            desk.answer(act(speck(desk)))
        old = folder / "earlier" / "r00000000000a"
        shutil.copytree(made_folder(folder.parent, run="r00000000000a", name="old"), old)
        code, out, err = call("review", old, "--port", free_port())
        assert code == 130
        assert f"Answers are kept in {folder.resolve() / STORE}" in out
        assert "7 flags of the first reading are open" in err
        assert not (old / STORE).exists()
        assert store_beside(old) == folder.resolve() / STORE

    def test_beside_the_results_elsewhere(self, tmp_path: Path, folder: Path) -> None:
        assert store_beside(folder) == folder / STORE
        # A folder that is called so but holds no earlier run of anything.
        lonely = made_folder(tmp_path / "earlier", name=RUN)
        assert store_beside(lonely) == lonely / STORE

    @pytest.mark.usefixtures("served")
    def test_in_another_record_where_one_is_named(self, tmp_path: Path, folder: Path, call: Call) -> None:
        url = sqlite_url(tmp_path / "shared.sqlite")
        code, out, _ = call("review", folder, "--port", free_port(), "--store", url)
        assert (code, str(tmp_path / "shared.sqlite") in out) == (130, True)
        assert (tmp_path / "shared.sqlite").exists()
        assert not (folder / STORE).exists()

    @pytest.mark.usefixtures("served")
    def test_without_its_password_being_said(self, folder: Path, call: Call, monkeypatch: pytest.MonkeyPatch) -> None:
        made = Store.__init__

        def elsewhere(store: Store, url: str) -> None:
            made(store, sqlite_url(folder / STORE))
            store.place = "postgresql://lea:***@db/answers"

        monkeypatch.setattr(Store, "__init__", elsewhere)
        code, out, err = call("review", folder, "--port", free_port(), "--store", "postgresql://lea:hush@db/answers")
        assert code == 130
        assert "hush" not in out + err


class TestTheAddress:
    def test_any_other_port_where_the_usual_one_is_taken(
        self, folder: Path, call: Call, served: list[Any], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        with socket.socket() as other:
            other.bind(("127.0.0.1", 0))
            other.listen()
            monkeypatch.setattr(cli.review.call, "DEFAULT_PORT", other.getsockname()[1])
            code, out, _ = call("review", folder)
        assert code == 130
        (_, (host, port)) = served[0]
        assert host == "127.0.0.1", "nobody else on the network reaches it"
        assert f"http://127.0.0.1:{port}/" in out

    def test_shared_by_a_secret_link(
        self, folder: Path, call: Call, served: list[Any], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(cli.review.call, "_own_address", lambda: "192.0.2.7")
        told: list[str] = []
        write = Path.write_text

        def noted(path: Path, text: str, encoding: str) -> int:
            told.append(text)
            return write(path, text, encoding=encoding)

        monkeypatch.setattr(Path, "write_text", noted)
        code, out, _ = call("review", folder, "--share", "--port", free_port())
        assert code == 130
        app, (host, port) = served[0]
        assert host == "0.0.0.0"
        link = re.search(rf"http://192\.0\.2\.7:{port}/enter/([\w-]{{32}})\s", out)
        assert link
        assert "not encrypted" in out
        assert len(told) == 1
        assert json.loads(told[0])["address"] == f"http://192.0.2.7:{port}/"
        assert link.group(1) not in told[0]
        for name in ("192.0.2.7", "127.0.0.1", "localhost", socket.gethostname()):
            client = TestClient(app, f"http://{name}:{port}", follow_redirects=False)
            assert client.get("/").status_code == 403
            assert client.get(f"/enter/{link.group(1)}").status_code == 303
        assert TestClient(app, f"http://192.0.2.8:{port}").get(f"/enter/{link.group(1)}").status_code == 403

    def test_keys_and_secrets_are_new_each_time(self, folder: Path, call: Call, served: list[Any]) -> None:
        said = [call("review", folder, "--port", free_port())[1] for _ in range(2)]
        keys = {re.findall(r"/supervisor/([\w-]+)", text)[0] for text in said}
        assert len(keys) == 2
        assert len(served) == 2

    def test_on_the_web_s_usual_port(self) -> None:
        assert {"127.0.0.1", "localhost:80"} <= set(cli.review.call._names("127.0.0.1", 80, False))
        assert "127.0.0.1" not in cli.review.call._names("127.0.0.1", 8317, False)

    def test_asks_no_name_server(self, monkeypatch: pytest.MonkeyPatch) -> None:
        def asked(*_: object) -> None:
            raise AssertionError("nothing leaves the machine")

        for name in ("getfqdn", "gethostbyaddr", "gethostbyname", "getaddrinfo"):
            monkeypatch.setattr(socket, name, asked)
        assert cli.review.call._names("192.0.2.7", 8317, True)
        assert cli.review.call._own_address()


def test_a_desk_without_a_flag_opens_too(tmp_path: Path, call: Call, served: list[Any]) -> None:
    folder = made_folder(tmp_path, [Made("a.jpg", 0)])
    code, _, err = call("review", folder, "--port", free_port())
    assert (code, len(served)) == (130, 1)
    assert "0 flags of the first reading are open" in err


def test_added_specks_count_among_the_open(folder: Path, call: Call, served: list[Any]) -> None:
    with desk_of(folder) as desk:
        desk.add(drawn_line(shot_of(desk)))
    assert "8 flags" in call("review", folder, "--port", free_port())[2]
    assert len(served) == 1
