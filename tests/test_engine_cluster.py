"""Scoring on a Dask scheduler's workers, real ones on this machine. Takes the better part of a minute: processes are started, killed
and waited for."""

from __future__ import annotations

import logging
import os
import queue
import re
import signal
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from made_engines import ends, make_nothing, make_outcomes, make_scorer, photograph, photographs, pids, shorten_limit
from own_dask import OwnDask, local_cluster, own_dask, short_fetch
from PIL import Image

from cli.batch.engines import cluster as engine_file
from cli.batch.engines import link, station
from cli.batch.engines.cluster import Cluster
from cli.batch.engines.engine import Done, EngineLost, MakeScore
from cli.batch.engines.here import Here
from cli.batch.engines.likeness import Likeness, likeness_here
from cli.batch.engines.station import carried, end_run
from cli.batch.sources import Photograph
from faked import tables
from vision.errors import CallError

pytestmark = pytest.mark.slow

_LIMIT_S = 180.0
SAMPLES = Path(__file__).parent.parent / "sample_images"
CUT = (
    ("03-rinse-water-sample-1.jpg", 1166, 1050),
    ("04-rinse-water-sample-2.jpg", 517, 0),
    ("05-rinse-water-sample-3.jpg", 1179, 1050),
)
"""Of each a part with drawn insects: a second's work."""


class Run:
    """An engine at work, and what it has told."""

    def __init__(self, address: str, make_score: MakeScore) -> None:
        self._bell: queue.SimpleQueue[Done] = queue.SimpleQueue()
        self.engine = Cluster(address, make_score, self._bell.put)
        self.told: list[Done] = []

    def submit(self, photographs: Sequence[Photograph]) -> None:
        for each in photographs:
            self.engine.submit(each)

    def wait(self, number: int, limit_s: float = _LIMIT_S) -> list[Done]:
        """Until so many have been told in all; raises EngineLost as soon as the engine does."""
        until = time.monotonic() + limit_s
        while len(self.told) < number:
            assert time.monotonic() < until, f"only {self.told} came"
            try:
                self.told.append(self._bell.get(timeout=0.2))
            except queue.Empty:
                self.engine.look_after()
        return self.told

    def score(self, photographs: Sequence[Photograph]) -> dict[str, Done]:
        """What came of each, by its hash; none is told twice."""
        before = len(self.told)
        self.submit(photographs)
        told = self.wait(before + len(photographs))[before:]
        time.sleep(0.1)
        assert self._bell.empty()
        assert sorted(done.sha256 for done in told) == sorted(each.sha256 for each in photographs)
        return {done.sha256: done for done in told}


@contextmanager
def run_on(address: str, make_score: MakeScore = make_scorer) -> Iterator[Run]:
    run = Run(address, make_score)
    try:
        yield run
    finally:
        run.engine.close()


def workers_lost(cluster: Any) -> int:
    """How many its scheduler has seen go."""
    return sum(event.get("action") == "remove-worker" for _, event in cluster.scheduler.get_events("all"))


@pytest.fixture(scope="module")
def nannied(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """Two workers whose nannies start them again when they are lost."""
    with local_cluster(tmp_path_factory.mktemp("dask")) as started:
        yield started


@pytest.fixture
def own(tmp_path: Path) -> Iterator[OwnDask]:
    """A scheduler without workers yet."""
    with own_dask(tmp_path) as started:
        yield started


@pytest.fixture(autouse=True)
def patient(monkeypatch: pytest.MonkeyPatch) -> None:
    """Workers may take long to start where many tests run."""
    monkeypatch.setattr(engine_file, "_WORKERS_WAIT_S", _LIMIT_S)


@pytest.fixture(autouse=True)
def no_chatter(caplog: pytest.LogCaptureFixture) -> Iterator[None]:
    """Nothing that Dask logs reaches the terminal of whoever scores."""
    yield
    assert [each.getMessage() for each in caplog.records if each.levelno >= logging.WARNING] == []


class TestNanniedWorkers:
    @pytest.mark.filterwarnings("error:Sending large graph")
    @pytest.mark.long
    def test_what_comes_is_what_comes_here(self, nannied: Any) -> None:
        shots = [
            photograph("a", b"xx"),
            photograph("b", b"bad"),
            photograph("c", b"x" + bytes(12 << 20)),
            photograph("d"),
        ]
        here: dict[str, Done] = {}
        alone = Here(make_outcomes, lambda done: here.update({done.sha256: done}))
        for each in shots:
            alone.submit(each)
        with run_on(nannied.scheduler_address, make_outcomes) as run:
            there = run.score(shots)
        assert {key: done.outcome for key, done in there.items()} == {key: done.outcome for key, done in here.items()}

    def test_the_tables_are_the_same_bytes(self, nannied: Any, tmp_path: Path) -> None:
        from cli.options import Doing, ScoreOptions
        from cli.scoring import score_call

        (tmp_path / "in").mkdir()
        for name, left, upper in CUT:
            with Image.open(SAMPLES / name) as whole:
                whole.crop((left, upper, left + 600, upper + 450)).save(tmp_path / "in" / name, quality=92)
        for engine, out in ((nannied.scheduler_address, "there"), ("here", "here")):
            code = score_call(
                [tmp_path / "in"], tmp_path / out, ScoreOptions(px_per_mm=20.0), Doing(engine=engine, quiet=True)
            )
            assert code == 0
        assert tables(tmp_path / "there") == tables(tmp_path / "here")
        assert [each.count(b"\n") > len(CUT) for each in tables(tmp_path / "here")] == [True, True]

    @pytest.mark.long
    def test_crash_and_fault_cost_their_own_photograph(self, nannied: Any, tmp_path: Path) -> None:
        shots = photographs("crash", "a", f"once {tmp_path / 'crashed'}", "fault", "b", "c")
        with run_on(nannied.scheduler_address) as run:
            told = run.score(shots)
        crash, a, once, fault, b, c = (told[each.sha256] for each in shots)
        assert crash.outcome is None
        assert crash.why.startswith("Not scored: whatever scored it was ended by the system (signal 6), twice")
        assert once.outcome is not None
        assert once.retried == "was ended by the system (signal 6)"
        assert fault.why == "Speckwise failed through a fault of its own (RuntimeError: a fault of ours)."
        assert all(done.outcome and not done.retried for done in (a, b, c))

    @pytest.mark.long
    def test_one_that_hangs_is_given_up(self, nannied: Any) -> None:
        from distributed import Client

        shots = photographs("hang", "a", "b")
        with Client(nannied, set_as_default=False) as client:  # type: ignore[no-untyped-call]
            client.run(shorten_limit, 2.0)
            with run_on(nannied.scheduler_address) as run:
                told = run.score(shots)
            client.run(shorten_limit, 600.0)
        assert told[shots[0].sha256].why.startswith("Not scored: whatever scored it did not come to an end, twice")
        assert told[shots[1].sha256].outcome
        assert told[shots[2].sha256].outcome

    def test_what_a_killed_worker_had_is_done_elsewhere(self, nannied: Any) -> None:
        shots = photographs(*["slow"] * 8)
        with short_fetch(), run_on(nannied.scheduler_address) as run:
            run.submit(shots)
            run.wait(1)
            os.kill(next(iter(nannied.workers.values())).pid, signal.SIGKILL)
            told = run.wait(len(shots))
        assert sorted(done.sha256 for done in told) == sorted(each.sha256 for each in shots)
        assert all(done.outcome for done in told)
        assert [done.retried.startswith("the Dask worker tcp://127.0.0.1:") for done in told].count(True) == 1

    @pytest.mark.long
    def test_one_whose_workers_die_is_given_up_and_no_other(self, nannied: Any) -> None:
        nannied.wait_for_workers(2, timeout=_LIMIT_S)
        shots = photographs("parent", "a", "slow", "b", "c")
        lost = workers_lost(nannied)
        with short_fetch(), run_on(nannied.scheduler_address) as run:
            told = run.score(shots)
        parent, *others = (told[each.sha256] for each in shots)
        assert parent.why.startswith("Not scored: whatever scored it went down with its Dask worker, twice")
        assert parent.retried.startswith("the Dask worker tcp://127.0.0.1:")
        assert all(done.outcome for done in others)
        nannied.wait_for_workers(2, timeout=_LIMIT_S)
        assert 2 <= workers_lost(nannied) - lost <= 3

    @pytest.mark.long
    def test_a_run_leaves_nothing_and_the_next_one_works(self, nannied: Any) -> None:
        shots = photographs("a", "slow", "slow", "b")
        with run_on(nannied.scheduler_address) as run:
            run.score(shots)
            first = pids(run.told)
            run.submit(photographs("wait 600", "wait 600", "wait 600"))
            time.sleep(0.5)
            begun = time.monotonic()
        assert time.monotonic() - begun < 5
        assert all(ends(pid) for pid in first)
        with run_on(nannied.scheduler_address) as run:
            assert all(done.outcome for done in run.score(shots).values())
            assert not pids(run.told) & first

    @pytest.mark.long
    def test_two_runs_at_once(self, nannied: Any) -> None:
        shots = photographs("a", "slow", "slow", "b")
        with run_on(nannied.scheduler_address) as one, run_on(nannied.scheduler_address) as other:
            other.submit(shots)
            assert all(done.outcome for done in one.score(shots).values())
            assert all(done.outcome for done in other.wait(4))

    @pytest.mark.long
    def test_what_can_not_be_made_ready_ends_the_run(self, nannied: Any) -> None:
        with run_on(nannied.scheduler_address, make_nothing) as run, pytest.raises(EngineLost) as lost:
            run.score(photographs("a"))
        assert "No worker process could be started" in str(lost.value)
        assert "nothing to score with" in str(lost.value)
        assert "tcp://127.0.0.1:" in str(lost.value)

    @pytest.mark.long
    def test_a_station_that_was_left_behind_is_opened_again(
        self, nannied: Any, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        from distributed import Client

        with run_on(nannied.scheduler_address) as run, Client(nannied, set_as_default=False) as client:  # type: ignore[no-untyped-call]
            run.score(photographs("a", "b"))
            client.run(setattr, station, "_OPEN_WAIT_S", 0.1)
            client.run(end_run, run.engine._run)
            assert all(done.outcome for done in run.score(photographs("c", "d")).values())
            client.run(end_run, run.engine._run)
            monkeypatch.setattr(engine_file, "_SENDINGS", 2)
            run.engine._opening_call = carried(likeness_here)
            with pytest.raises(EngineLost, match="hand a photograph back unscored"):
                run.score(photographs("e"))
            client.run(setattr, station, "_OPEN_WAIT_S", 5.0)

    @pytest.mark.long
    def test_other_processors_are_said_once(self, nannied: Any, monkeypatch: pytest.MonkeyPatch) -> None:
        ours = Likeness(likeness_here().versions, "x86_64 without AVX2")
        monkeypatch.setattr(engine_file, "likeness_here", lambda: ours)
        with run_on(nannied.scheduler_address) as run:
            run.score(photographs("a", "b"))
        first, second = run.told
        assert "The processors are not all of one family" in first.tell[0]
        assert "x86_64 without AVX2: this machine;" in first.tell[0]
        assert second.tell == ()


class TestWorkersThatComeAndGo:
    def test_who_joins_gets_work_and_who_stops_answering_loses_it(self, tmp_path: Path) -> None:
        # Five seconds are the least that Dask waits for: ten heartbeats.
        from distributed import Client

        with own_dask(tmp_path, DASK_DISTRIBUTED__SCHEDULER__WORKER_TTL="1s") as own:
            first = own.worker()
            with run_on(own.address) as run, Client(own.address, set_as_default=False) as client:  # type: ignore[no-untyped-call]
                assert run.engine.workers == 1
                (alone,) = client.processing()
                own.worker()
                while len({done.worker for done in run.told}) < 2:
                    run.score([photograph(f"{len(run.told)} and {more}", b"slow") for more in range(4)])
                assert run.engine.workers == 2
                before = len(run.told)
                run.submit(photographs(*["slow"] * 8))
                run.wait(before + 1)
                # Stopped while it has work, and not in the moment between two photographs.
                until = time.monotonic() + _LIMIT_S
                while not client.processing()[alone]:
                    assert time.monotonic() < until, "it got no more work"
                    time.sleep(0.01)
                first.send_signal(signal.SIGSTOP)
                told = run.wait(before + 8)
        assert all(done.outcome for done in told)
        assert sum("was lost" in done.retried for done in told) == 1
        assert len({done.sha256 for done in told}) == len(told)

    @pytest.mark.long
    def test_who_joins_with_another_version_ends_the_run(self, own: OwnDask) -> None:
        own.worker()
        with run_on(own.address) as run:
            run.score(photographs("a"))
            own.other_worker("scipy", "1.0.0")
            with pytest.raises(EngineLost) as lost:
                run.score(photographs(*["slow"] * 200))
        assert re.search(r"\(scipy [\d.]+: this machine; scipy 1\.0\.0: tcp://127\.0\.0\.1:\d+\)", str(lost.value))

    @pytest.mark.long
    def test_who_joins_without_us_ends_the_run(self, own: OwnDask) -> None:
        own.worker()
        with run_on(own.address) as run:
            run.score(photographs("a"))
            own.worker(knows_us=False)
            with pytest.raises(EngineLost, match=r"Speckwise is not installed, .* on tcp://127\.0\.0\.1:"):
                run.score(photographs(*["slow"] * 200))

    def test_the_scheduler_is_killed(self, own: OwnDask) -> None:
        own.worker()
        with run_on(own.address) as run:
            run.submit(photographs(*["slow"] * 200))
            run.wait(1)
            own.scheduler.kill()
            with pytest.raises(EngineLost, match="does not answer any more"):
                run.wait(200, limit_s=10)
            begun = time.monotonic()
        assert time.monotonic() - begun < 5

    @pytest.mark.long
    def test_the_scheduler_hangs(self, own: OwnDask, monkeypatch: pytest.MonkeyPatch) -> None:
        own.worker()
        with run_on(own.address) as run:
            run.score(photographs("a"))
            monkeypatch.setattr(engine_file, "_SILENT_S", 2.0)
            own.scheduler.send_signal(signal.SIGSTOP)
            with pytest.raises(EngineLost, match="does not answer any more"):
                run.score(photographs("b"))
            begun = time.monotonic()
        assert time.monotonic() - begun < 10

    @pytest.mark.long
    def test_all_workers_leave(self, own: OwnDask, monkeypatch: pytest.MonkeyPatch) -> None:
        worker = own.worker()
        monkeypatch.setattr(engine_file, "_NO_WORKERS_S", 1.0)
        with run_on(own.address) as run:
            child = pids(list(run.score(photographs("a")).values())).pop()
            run.submit(photographs("wait 600"))
            time.sleep(0.5)
            worker.kill()
            with pytest.raises(EngineLost, match="has had no workers"):
                run.wait(2)
        assert ends(child)

    @pytest.mark.long
    def test_what_dask_gives_up_too_early_goes_on(self, tmp_path: Path) -> None:
        shots = photographs("parent", *["slow"] * 9)
        with own_dask(tmp_path, DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES="0") as own:
            for _ in range(3):
                own.worker()
            with run_on(own.address) as run:
                while run.engine.workers < 3:
                    time.sleep(0.1)
                told = run.score(shots)
        parent, *others = (told[each.sha256] for each in shots)
        assert parent.why.startswith("Not scored: whatever scored it went down with its Dask worker, twice")
        assert all(done.outcome for done in others)


class TestRefused:
    @pytest.mark.filterwarnings("error::pytest.PytestUnraisableExceptionWarning")
    def test_no_scheduler(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(link, "_CONNECT_S", 0.5)
        for address in ("tcp://127.0.0.1:1", "tcp://127.0.0.1", "tls://127.0.0.1:1", "http://127.0.0.1:1"):
            with pytest.raises(CallError, match=f"No Dask scheduler answers at {address}"):
                Run(address, make_scorer)

    def test_no_workers(self, own: OwnDask, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(engine_file, "_WORKERS_WAIT_S", 0.5)
        with pytest.raises(CallError, match="has no workers: start some with `dask worker tcp://"):
            Run(own.address, make_scorer)

    def test_workers_without_us_or_with_other_versions(self, own: OwnDask, monkeypatch: pytest.MonkeyPatch) -> None:
        lacking = own.worker(knows_us=False)
        with pytest.raises(CallError, match=r"Speckwise is not installed, .* on tcp://127\.0\.0\.1:"):
            Run(own.address, make_scorer)
        lacking.kill()
        lacking.wait()
        own.other_worker("numpy", "2.0.1")
        with pytest.raises(CallError) as refused:
            Run(own.address, make_scorer)
        assert re.search(r"\(numpy [\d.]+: this machine; numpy 2\.0\.1: tcp://127\.0\.0\.1:\d+\)", str(refused.value))

    def test_distributed_is_missing(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setitem(sys.modules, "distributed", None)
        with pytest.raises(CallError, match=r"pip install 'speckwise\[cluster\]'"):
            Run("tcp://127.0.0.1:1", make_scorer)

    def test_dask_logs_nothing_while_it_is_used(self, caplog: pytest.LogCaptureFixture) -> None:
        own = logging.getLogger("distributed.client")
        own.setLevel(logging.WARNING)
        with link._silent():
            for name in ("distributed", "distributed.client", "distributed.core", "tornado.application"):
                logging.getLogger(name).critical("chatter")
        assert caplog.records == []
        assert own.level == logging.WARNING
