"""What every engine is: photographs are handed in, and what came of each is told, in any order."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

from cli.batch.sources import Photograph
from vision.errors import SpeckwiseError

if TYPE_CHECKING:
    from cli.shot import Outcome

Score = Callable[[Photograph], "Outcome"]
MakeScore = Callable[[], Score]
"""Makes the scoring ready where it is to be done. Goes there as bytes (pickle), so it holds all that it needs."""


class EngineLost(SpeckwiseError):
    """No work can be done any more; what is done stands."""


HERE = "here"
CORES = "cores"
SHOT_LIMIT_S = 600.0
"""A shot that takes longer is taken for hung."""
LOST_TWICE = "whatever scored it {why}, twice: the file may be damaged, or too large for this machine."


@dataclass(frozen=True)
class Done:
    """One photograph's way through an engine is over."""

    sha256: str
    """Of the photograph."""
    outcome: Outcome | None = None
    """None where whatever scored it was lost, once and again."""
    why: str = ""
    """A sentence, where there is no outcome."""
    worker: str = ""
    retried: str = ""
    """Why it had to be scored a second time; '' where once was enough."""
    tell: tuple[str, ...] = field(default=())
    """Sentences about the engine itself that are worth saying once."""


Bell = Callable[[Done], None]
"""Told of each photograph that is done; may be called from any thread."""


class Engine(Protocol):
    """Made ready with what scores a photograph and whom to tell; raises EngineLost where no work can be done any more."""

    workers: int

    def start(self) -> None:
        """Gets ready before there is any work, where somebody will wait for the first photograph."""

    def submit(self, photograph: Photograph) -> None:
        """Hands one in. Returns at once; what comes of it is told by the bell."""

    def look_after(self) -> None:
        """To be called every second or so: gives up what hangs. Raises EngineLost."""

    def close(self) -> None:
        """Ends all work at once; what is not done will not be told."""


def processors() -> int:
    """How many this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
