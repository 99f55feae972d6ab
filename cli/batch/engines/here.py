"""The engine without workers: each photograph is scored in this process when it is handed in.

For looking into a fault, and where no process may be started. A decoder that crashes takes the whole run with it.
"""

from __future__ import annotations

from cli.batch.engines.engine import Bell, Done, MakeScore, Score
from cli.batch.engines.worker import try_score
from cli.batch.sources import Photograph


class Here:
    """Does the work itself."""

    workers = 1

    def __init__(self, make_score: MakeScore, bell: Bell) -> None:
        self._make_score, self._bell = make_score, bell
        self._score: Score | None = None

    def start(self) -> None:
        """Loads what scores."""
        self._score = self._score or self._make_score()

    def submit(self, photograph: Photograph) -> None:
        """Returns when it is scored."""
        self.start()
        assert self._score is not None
        outcome, why = try_score(self._score, photograph)
        self._bell(Done(photograph.sha256, outcome, why, worker="here"))

    def look_after(self) -> None:
        """Nothing can hang here that would not hang us."""

    def close(self) -> None:
        """Nothing is left to end."""
