"""How a command ends: its exit codes, and the two ways in which it stops before it is done."""

from __future__ import annotations

import errno

ALL_DONE = 0
SOME_SHOTS_FAILED = 1
CALL_IS_WRONG = 2
STOPPED_HALF_WAY = 3
STOPPED_BY_USER = 130


class StoppedHalfWay(Exception):
    """The work had begun and could not be ended; what stands is whole. The message is a whole sentence."""


class StoppedByUser(Exception):
    """Ctrl-C; what stands is whole. The message is a whole sentence."""


def why_stopped(error: Exception) -> str:
    """A sentence for whatever ended the work."""
    from vision.errors import (
        SpeckwiseError,
    )  # not above: the entry point reads this file before it knows whose vision it is

    if isinstance(error, SpeckwiseError):
        return str(error)
    if isinstance(error, MemoryError):
        return "There is not enough memory."
    if isinstance(error, OSError):
        full = error.errno in {errno.ENOSPC, errno.EDQUOT}
        where = f" ({error.filename})" if error.filename else ""
        return (
            "The disk is full." if full else f"A file could not be read or written: {error.strerror or error}{where}."
        )
    return f"Speckwise failed through a fault of its own ({type(error).__name__}: {error})."
