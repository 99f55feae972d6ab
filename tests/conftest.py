"""What all tests share: the same examples in every run, and with SPECKWISE_NO_SKIPS set a test that would skip fails instead."""

from __future__ import annotations

import os

if "PYTEST_XDIST_WORKER" in os.environ:
    # The workers share the processors among them already; threads of their own would only wait for each other. Before numpy and OpenCV.
    os.environ |= dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "OPENCV_FOR_THREADS_NUM"), "1")

from collections.abc import Callable, Generator, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import settings

from faked import photographs

if TYPE_CHECKING:
    from opened_desk import Opened, Screen
    from starlette.testclient import TestClient

    from cli.review.desk import Desk

LONG = bool(os.environ.get("SPECKWISE_LONG"))
"""Whether there is time for the tests marked `long`, and for more examples."""
SLOW = LONG or bool(os.environ.get("SPECKWISE_SLOW"))
"""Whether there is time for those marked `slow`."""

# No deadline: how long an example takes is for the machine of the day; what takes how long is measured by the benches.
settings.register_profile("same", derandomize=True, deadline=None, max_examples=200 if LONG else 60 if SLOW else 30)
settings.load_profile("same")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leaves out what is `long` or `slow`, unless SPECKWISE_LONG or SPECKWISE_SLOW is set."""
    no_time = [name for name, there_is in (("long", LONG), ("slow", SLOW)) if not there_is]
    left_out = [item for item in items if any(item.get_closest_marker(name) for name in no_time)]
    if left_out:
        gone = set(left_out)
        items[:] = [item for item in items if item not in gone]
        config.hook.pytest_deselected(items=left_out)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Where all services are said to be there, a skip means that one is not."""
    report = yield
    if os.environ.get("SPECKWISE_NO_SKIPS") and report.skipped and not hasattr(report, "wasxfail"):
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
        report.outcome = "failed"
        report.longrepr = f"Nothing may be skipped here, yet: {reason}"
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(
    collector: pytest.Collector,
) -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    """The same for a file that skips as a whole."""
    report = yield
    if os.environ.get("SPECKWISE_NO_SKIPS") and report.skipped:
        report.outcome = "failed"
        report.longrepr = f"Nothing may be skipped here, yet {collector.nodeid} is: {report.longrepr}"
    return report


@pytest.fixture
def three(tmp_path: Path) -> Path:
    """Three files for the faked scoring, the second of which fails."""
    return photographs(tmp_path / "in", a=b"xx", b=b"bad", c=b"x0")


@pytest.fixture
def out(tmp_path: Path) -> Path:
    """An output folder that is not there yet."""
    return tmp_path / "out"


@pytest.fixture
def written(monkeypatch: pytest.MonkeyPatch) -> Callable[[], str]:
    """All text that reaches the band, as one string in the order of writing."""
    from vision import band

    lines: list[str] = []
    write = band.write

    def record(draw: object, at: object, line: str, *rest: object) -> None:
        lines.append(line)
        write(draw, at, line, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(band, "write", record)
    return lambda: " ".join(lines)


@pytest.fixture
def stand(tmp_path: Path) -> Path:
    """A profile in a file of its own."""
    from made_profiles import PROFILE

    from calib.profile import write_profile

    path, _ = write_profile(PROFILE, tmp_path / "stand.toml")
    return path


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """A review desk on made shots, one for all of a file; tests that look at what is kept ask for `own`."""
    from made_desk import desk_of, made_folder

    with desk_of(made_folder(tmp_path_factory.mktemp("desk"))) as opened:
        yield opened


@pytest.fixture
def own(tmp_path: Path) -> Iterator[Desk]:
    """A review desk on made shots for one test alone."""
    from made_desk import desk_of, made_folder

    with desk_of(made_folder(tmp_path)) as opened:
        yield opened


@pytest.fixture
def client(desk: Desk) -> TestClient:
    """Asks the desk's application."""
    from review_client import client_of

    return client_of(desk)


@pytest.fixture
def mine(own: Desk) -> TestClient:
    """Asks the application of `own`."""
    from review_client import client_of

    return client_of(own)


@pytest.fixture
def shared(desk: Desk) -> TestClient:
    """The same where a secret link lets in."""
    from review_client import SECRET, client_of

    return client_of(desk, SECRET)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Debian's Chromium."""
    from opened_desk import chromium

    with chromium() as started:
        yield started


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A scored folder of three made shots, one of them without flags."""
    from opened_desk import SHOTS
    from scored_folder import write_folder

    return write_folder(tmp_path / "scored", SHOTS)


@pytest.fixture
def opened(folder: Path) -> Iterator[Opened]:
    """A review desk on it, in a process of its own."""
    from opened_desk import desk_on

    with desk_on(folder) as desk:
        yield desk


@pytest.fixture
def screen(browser: Any, opened: Opened) -> Iterator[Screen]:
    """A person's screen in front of that desk; at the end nothing may have failed on it, and nothing have left the machine."""
    from opened_desk import Screen

    context = browser.new_context(viewport={"width": 1400, "height": 900})
    shown = Screen(context, opened.address)
    yield shown
    assert shown.faults == []
    assert all(url.startswith(opened.address) for url in shown.asked)
    context.close()


@pytest.fixture(scope="session")
def server() -> Iterator[Any]:
    """A PostgreSQL of the tests' own."""
    from own_postgres import shared

    with shared() as server:
        yield server


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Any:
    """Where a test's record is, on either database."""
    from own_records import on_server, on_sqlite

    if request.param == "sqlite":
        return on_sqlite(tmp_path / "decisions.sqlite")
    return on_server(request.getfixturevalue("server"))


@pytest.fixture
def store(place: Any) -> Iterator[Any]:
    """An open record at `place`."""
    store = place.open()
    yield store
    store.close()
