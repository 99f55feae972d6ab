"""The one place that knows all engines by name."""

from __future__ import annotations

from cli.batch.engines.engine import CORES, HERE, Bell, Engine, MakeScore
from cli.batch.run import MakeEngine
from vision.errors import CallError


def engine_for(named: str, workers: int | None) -> MakeEngine:
    """What makes the engine of that name: here, cores, or a scheduler's address. Raises CallError for any other name."""
    if named == HERE:
        if workers not in (None, 1):
            raise CallError("--engine here works alone: leave --workers out, or use --engine cores.")
        return _here
    if named == CORES:
        return lambda make_score, bell: _cores(make_score, bell, workers)
    if "://" in named:
        if workers is not None:
            raise CallError("A cluster has the workers it has: leave --workers out.")
        return lambda make_score, bell: _cluster(named, make_score, bell)
    raise CallError(f"--engine is here, cores, or the address of a Dask scheduler (tcp://HOST:PORT), not {named!r}.")


def _here(make_score: MakeScore, bell: Bell) -> Engine:
    from cli.batch.engines.here import Here

    return Here(make_score, bell)


def _cores(make_score: MakeScore, bell: Bell, workers: int | None) -> Engine:
    from cli.batch.engines.cores import Cores

    return Cores(make_score, bell, workers)


def _cluster(address: str, make_score: MakeScore, bell: Bell) -> Engine:
    from cli.batch.engines.cluster import Cluster

    return Cluster(address, make_score, bell)
