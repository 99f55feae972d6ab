"""A Dask scheduler and workers of the tests' own, started as a person starts them: processes that can be frozen and ended."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import sysconfig
import time
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Any

TESTS = Path(__file__).parent
_START_S = 60
_CONNECT = "5s"
"""So long a scheduler tries to fetch what a killed worker still had, instead of 30 s."""


class OwnDask:
    """A scheduler, and the workers that are started for it; each has one thread and no nanny."""

    def __init__(self, folder: Path, **settings: str) -> None:
        """`settings` are Dask's, as environment variables. The scheduler can't import Speckwise."""
        self._folder = folder
        self._started: list[subprocess.Popen[bytes]] = []
        facts = folder / "scheduler.json"
        self.scheduler = self._start(
            "scheduler", "--host=127.0.0.1", "--port=0", f"--scheduler-file={facts}", knows_us=False, **settings
        )
        until = time.monotonic() + _START_S
        while not facts.exists() or not facts.read_text():
            assert self.scheduler.poll() is None, "the scheduler ended at once"
            assert time.monotonic() < until, "no scheduler came up"
            time.sleep(0.05)
        self.address = str(json.loads(facts.read_text())["address"])

    def worker(self, *arguments: str, knows_us: bool = True) -> subprocess.Popen[bytes]:
        """One more worker; returns before it has joined."""
        return self._start("worker", self.address, "--nthreads=1", "--no-nanny", *arguments, knows_us=knows_us)

    def other_worker(self, package: str, version: str) -> subprocess.Popen[bytes]:
        """One more, where a package has another version."""
        preload = self._folder / "other.py"
        preload.write_text(
            "from cli.batch.engines import likeness\n"  # read once by name and once by path
            "real = likeness.package_versions()\n"
            f"likeness.package_versions = lambda: {{**real, {package!r}: {version!r}}}\n"
        )
        return self.worker(f"--preload={preload}")

    def close(self) -> None:
        """Ends all of it."""
        for process in reversed(self._started):
            if process.poll() is None:
                process.send_signal(signal.SIGCONT)
                process.kill()
            process.wait()

    def _start(self, what: str, *arguments: str, knows_us: bool, **settings: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", f"distributed.cli.dask_{what}", *arguments, "--no-dashboard"]
        path = [str(TESTS), str(TESTS.parent)]
        if not knows_us:
            # Without the site module the editable installation is not looked up.
            command.insert(1, "-S")
            path = [sysconfig.get_paths()["purelib"]]
        with (self._folder / f"{what}-{len(self._started)}.log").open("wb") as log:
            process = subprocess.Popen(
                command,
                cwd=self._folder,
                env={
                    **os.environ,
                    **settings,
                    "PYTHONPATH": os.pathsep.join(path),
                    "DASK_TEMPORARY_DIRECTORY": str(self._folder),
                    "DASK_DISTRIBUTED__COMM__TIMEOUTS__CONNECT": _CONNECT,
                },
                stdout=log,
                stderr=log,
            )
        self._started.append(process)
        return process


@contextmanager
def own_dask(folder: Path, **settings: str) -> Iterator[OwnDask]:
    """A scheduler with these settings."""
    started = OwnDask(folder, **settings)
    try:
        yield started
    finally:
        started.close()


@contextmanager
def local_cluster(folder: Path) -> Iterator[Any]:
    """Two workers with a thread each, in processes that nannies look after; the scheduler is in this process."""
    import dask.config
    from distributed import LocalCluster

    make: Any = LocalCluster
    with (
        dask.config.set({"temporary-directory": str(folder)}),
        make(n_workers=2, threads_per_worker=1, dashboard_address="127.0.0.1:0", silence_logs=60) as started,
    ):
        yield started


def short_fetch() -> AbstractContextManager[Any]:
    """Has a scheduler in this process be as quick to give up what a killed worker still had; nannies and workers stay patient."""
    import dask.config

    return dask.config.set({"distributed.comm.timeouts.connect": _CONNECT})
