"""A review desk of its own process on a scored folder, and a browser in front of it."""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from scored_folder import Made

CHROMIUM = shutil.which("chromium")
SHOTS = [
    Made("tray 1.jpg", flags=5, sample="1", piece="1", seed=1),
    Made("tray 2.jpg", flags=4, sample="1", piece="2", seed=2),
    Made("tray 3.jpg", flags=0, sample="2", piece="1", seed=3),
]


@dataclass
class Opened:
    """A desk that listens."""

    process: subprocess.Popen[str]
    address: str
    supervisor: str

    @property
    def port(self) -> int:
        return int(re.findall(r":(\d+)/", self.address)[0])

    def kill(self) -> None:
        """As a power cut would."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()


def start_desk(folder: Path, *options: str) -> Opened:
    """Starts `speckwise review` and waits until it has said where it listens."""
    command = [sys.executable, "-c", "from cli.entry import main; main()", "review", str(folder), *options]
    environment = os.environ | {"PYTHONUNBUFFERED": "1"}
    root = Path(__file__).parent.parent
    process = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=environment, cwd=root
    )
    assert process.stdout is not None
    address = supervisor = ""
    said = []
    for line in process.stdout:
        said.append(line)
        found = re.search(r"http://\S+", line)
        if found and "/supervisor/" in line:
            supervisor = found.group(0)
        elif found:
            address = found.group(0)
        if "Ctrl-C" in line:
            return Opened(process, address, supervisor)
    raise AssertionError("".join(said))


@contextmanager
def desk_on(folder: Path, *options: str) -> Iterator[Opened]:
    """A desk for the length of a block."""
    opened = start_desk(folder, *options)
    try:
        yield opened
    finally:
        if opened.process.poll() is None:
            opened.process.send_signal(signal.SIGINT)
            try:
                opened.process.wait(15)
            except subprocess.TimeoutExpired:
                opened.kill()


@contextmanager
def served_here(folder: Path, store: Any, words: Any, key: str) -> Iterator[str]:
    """A desk of this process, in whatever words; its address. Listens before it is asked, however late its thread starts."""
    import uvicorn

    from cli.review.desk import Desk
    from cli.review.server import make_app
    from cli.review.shelf import read_shelf

    bound = socket.socket()
    bound.bind(("127.0.0.1", 0))
    bound.listen()
    host = f"127.0.0.1:{bound.getsockname()[1]}"
    app = make_app(Desk(read_shelf(folder), store), words, [host], key)
    server = uvicorn.Server(uvicorn.Config(app, log_level="critical", lifespan="off"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [bound]})
    thread.start()
    yield f"http://{host}/"
    server.should_exit = True
    thread.join(10)
    store.close()


@contextmanager
def chromium() -> Iterator[Any]:
    """Debian's Chromium under Playwright; skips where either is missing."""
    if CHROMIUM is None:
        pytest.skip("needs Debian's package chromium")
    playwright = pytest.importorskip("playwright.sync_api", reason="needs the package playwright from PyPI")
    with playwright.sync_playwright() as started:
        browser = started.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-quic"])
        yield browser
        browser.close()


class Screen:
    """A page in front of a desk, as a person has it. Faults of the page and requests that leave the desk are kept in lists."""

    def __init__(self, context: Any, address: str) -> None:
        self.page = context.new_page()
        self.faults: list[str] = []
        self.asked: list[str] = []
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.page.on("console", lambda said: self.faults.append(said.text) if said.type == "error" else None)
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.goto(address)

    def begin(self, name: str, reading: int = 1) -> None:
        """Gives a name and begins."""
        self.page.wait_for_selector("#begin:enabled")
        self.page.check("#start-form input[value='in_hand']")
        self.page.fill("#name", name)
        if reading > 1:
            self.page.check(f"#readings input[value='{reading}']")
        self.page.keyboard.press("Enter")
        self.page.wait_for_selector("#desk[data-shown], #start-notes p")
        if self.page.locator("#desk").is_visible():
            self.wait_until_taken()

    def shown(self) -> str:
        """Which step the screen shows: a shot's hash, with / and a number for a flag."""
        return str(self.page.get_attribute("#desk", "data-shown"))

    def wait_for_step(self, before: str) -> str:
        """Waits until another step's picture is on the screen."""
        self.page.wait_for_function("before => document.getElementById('desk').dataset.shown !== before", arg=before)
        self.wait_until_taken()
        return self.shown()

    def wait_until_taken(self) -> None:
        """Waits until the step on the screen can be answered, or can't be for good; a moment after its picture has come."""
        self.page.wait_for_function(
            "() => { const { shown, takes } = document.getElementById('desk').dataset;"
            " return shown === takes || !document.getElementById('end').hidden || document.querySelector('#far .said:not([hidden])'); }"
        )

    def press(self, key: str) -> None:
        """A key that leads to another step or to the end."""
        self.page.keyboard.press(key)

    def wait_until_kept(self) -> None:
        """Waits until no answer is on its way."""
        self.page.wait_for_function("() => document.getElementById('saving').dataset.waiting === '0'")


def answers(folder: Path) -> list[tuple[Any, ...]]:
    """The record as another program reads it, in the order of its numbers."""
    with sqlite3.connect(folder / "decisions.sqlite") as record:
        return record.execute(
            "SELECT shot_sha256, candidate, answer, kind, body, reviewer, least, most, source FROM answers ORDER BY number"
        ).fetchall()


def last_answers(folder: Path) -> dict[tuple[str, int], str]:
    return {(row[0], row[1]): row[2] for row in answers(folder)}


def on_to_flag(screen: Screen) -> str:
    """Goes on until a flag is on the screen."""
    while "/" not in screen.shown():
        before = screen.shown()
        screen.press("Enter")
        screen.wait_for_step(before)
    return screen.shown()
