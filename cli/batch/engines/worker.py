"""What runs in a worker process: photographs come in by a pipe, outcomes go out. It opens no file.

python -c "from cli.batch.engines.worker import main; main()"
"""

from __future__ import annotations

import os
import pickle
import signal
import sys
import threading
import time
from contextlib import suppress
from typing import TYPE_CHECKING, BinaryIO

from cli.batch.engines.engine import Score
from cli.batch.engines.pipe import Closed, receive, send
from cli.batch.sources import Photograph
from cli.exits import why_stopped

if TYPE_CHECKING:
    from cli.shot import Outcome

START = "from cli.batch.engines.worker import main; main()"
READY = "ready"
TAKEN = "taken"
ONE_THREAD = dict.fromkeys(
    ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OPENCV_FOR_THREADS_NUM"), "1"
)
"""Workers share the processors among them; threads of their own would only wait for each other. Of the process's environment."""
MEMORY = {"MALLOC_MMAP_THRESHOLD_": str(8 << 20), "MALLOC_TRIM_THRESHOLD_": str(64 << 20), "MALLOC_ARENA_MAX": "1"}
"""Large arrays are given back to the system when they are let go (mallopt(3) of glibc; elsewhere without meaning)."""
_LOOK_FOR_PARENT_S = 2.0


def main() -> None:
    """Until the pipe is closed: takes what makes the scoring, answers READY or why not; then Photographs, each answered by
    TAKEN at once, and by (Outcome or None, sentence) in the end."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C reaches the whole group; whoever started us decides
    threading.Thread(target=_end_with_parent, args=(os.getppid(),), daemon=True).start()
    orders, answers = sys.stdin.buffer, _answers()
    with suppress(Closed):
        _serve(orders, answers)
    # Not by the long way: libraries that were in the middle of something are not asked.
    os._exit(0)


def _serve(orders: BinaryIO, answers: BinaryIO) -> None:
    make_score: bytes = receive(orders)
    try:
        score: Score = pickle.loads(make_score)()
    except Exception as error:
        send(answers, why_stopped(error))
        return
    send(answers, READY)
    while True:
        photograph: Photograph = receive(orders)
        send(answers, TAKEN)
        send(answers, try_score(score, photograph))


def _answers() -> BinaryIO:
    """Where answers go. What a library prints goes to stderr and never among them."""
    own = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    return own


def try_score(score: Score, photograph: Photograph) -> tuple[Outcome | None, str]:
    """The outcome, or why there is none: a fault of ours on one photograph is no reason not to score the others."""
    try:
        return score(photograph), ""
    except Exception as error:
        return None, why_stopped(error)


def _end_with_parent(parent: int) -> None:
    # The closed pipe says the same, but not while a photograph hangs.
    while os.getppid() == parent:
        time.sleep(_LOOK_FOR_PARENT_S)
    os._exit(1)
