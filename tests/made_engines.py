"""Scorers that go to other processes as bytes, for tests of what scores there: quick, and what they do is told from the file's bytes."""

from __future__ import annotations

import hashlib
import os
import signal
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from cli.batch.engines.engine import Done
from cli.batch.sources import Photograph

SLOW_S = 0.3


def make_scorer() -> Callable[[Photograph], Any]:
    """Makes what `score` does."""
    return score


def make_outcomes() -> Callable[[Photograph], Any]:
    """Makes the faked scorer, whose outcomes have rows and pictures."""
    from faked import scorer

    return scorer()


def make_nothing() -> Callable[[Photograph], Any]:
    """Can't be made ready."""
    raise ValueError("nothing to score with")


def score(photograph: Photograph) -> tuple[str, int]:
    """What was scored, and in which process; files that start with these words do otherwise:

    crash: the process ends, as by a decoder; hang: it comes to no end; fault: an exception; slow: takes SLOW_S, wait N: N s;
    print: prints; blur: has OpenCV use its threads;
    once PATH: the process ends unless that file is there, and makes it; parent: whatever started the process is killed.
    """
    word, _, rest = photograph.data.decode("latin-1").partition(" ")
    if word in _ODD:
        _ODD[word](rest)
    return photograph.shot, os.getpid()


def _once(path: str) -> None:
    if not Path(path).exists():
        Path(path).touch()
        os.abort()


def _fault(rest: str) -> None:
    raise RuntimeError("a fault of ours")


def _print(rest: str) -> None:
    os.write(1, rest.encode() * 1000)
    print(rest)


def _blur() -> None:
    import cv2
    import numpy as np

    cv2.GaussianBlur(np.zeros((2000, 2000), np.float32), (31, 31), 0)


_ODD: dict[str, Callable[[str], object]] = {
    "crash": lambda rest: os.abort(),
    "hang": lambda rest: time.sleep(3600),
    "fault": _fault,
    "slow": lambda rest: time.sleep(SLOW_S),
    "wait": lambda rest: time.sleep(float(rest.split()[0])),
    "print": _print,
    "blur": lambda rest: _blur(),
    "once": _once,
    "parent": lambda rest: (os.kill(os.getppid(), signal.SIGKILL), time.sleep(60)),
}


def shorten_limit(limit_s: float) -> None:
    """Has the engines that this process makes from now on wait no longer for a photograph."""
    from cli.batch.engines.cores import Cores

    Cores.__init__.__defaults__ = (None, limit_s)


def photograph(name: str, data: bytes = b"") -> Photograph:
    data = data or name.encode()
    return Photograph(f"{name}.jpg", hashlib.sha256(data + name.encode()).hexdigest(), data)


def photographs(*contents: str) -> list[Photograph]:
    """One of each content, numbered."""
    return [photograph(f"{number}", content.encode()) for number, content in enumerate(contents, 1)]


def ends(pid: int, limit_s: float = 60.0) -> bool:
    """Whether a process comes to its end; one that only waits to be counted has."""
    until = time.monotonic() + limit_s
    while time.monotonic() < until:
        try:
            state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
        except (FileNotFoundError, ProcessLookupError):
            return True
        if state == "Z":
            return True
        time.sleep(0.1)
    return False


def pids(told: Sequence[Done]) -> set[int]:
    """The processes that scored."""
    return {done.outcome[1] for done in told if done.outcome is not None}  # type: ignore[index]
