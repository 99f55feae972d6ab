"""Values between two processes over a pair of pipes, one after the other (pickle, each with its length before it)."""

from __future__ import annotations

import pickle
import struct
from typing import IO, Any

_LENGTH = struct.Struct(">Q")


class Closed(Exception):
    """The other side is gone."""


def send(pipe: IO[bytes], value: Any) -> None:
    """Raises Closed."""
    data = pickle.dumps(value, protocol=pickle.HIGHEST_PROTOCOL)
    try:
        pipe.write(_LENGTH.pack(len(data)))
        pipe.write(data)
        pipe.flush()
    except (OSError, ValueError) as error:
        raise Closed from error


def receive(pipe: IO[bytes]) -> Any:
    """Raises Closed, also where the other side ends in the middle of a value."""
    (length,) = _LENGTH.unpack(_exactly(pipe, _LENGTH.size))
    return pickle.loads(_exactly(pipe, length))


def _exactly(pipe: IO[bytes], length: int) -> bytes:
    try:
        data = pipe.read(length)
    except (OSError, ValueError) as error:
        raise Closed from error
    if len(data) < length:
        raise Closed
    return data
