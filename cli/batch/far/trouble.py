"""What file systems raise, put into words: their own hold addresses with secrets in them, and are never shown."""

from __future__ import annotations

import time
from collections.abc import Callable
from enum import StrEnum
from typing import TypeVar
from zipfile import BadZipFile

from vision.errors import SpeckwiseError, UnreadableShot

_T = TypeVar("_T")
_TRIES = 2
_PAUSE_S = 0.5


class Trouble(StrEnum):
    """Why something at an address can't be had, as the end of a sentence."""

    AWAY = "it is not there"
    REFUSED = "access is refused"
    NO_CREDENTIALS = "no credentials for it were found on this machine"
    UNTRUSTED = "the server's certificate is not to be trusted"
    SILENT = "the server does not answer in time"
    BROKEN_OFF = "the connection broke off"
    UNREACHABLE = "the server can't be reached"
    BUSY = "the server has too much to do"
    NO_PARTS = "the server does not give parts of a file; download the archive and name the copy"
    BROKEN_ARCHIVE = "it is no archive of this kind, or it is broken; copy it again"
    LEADS_BACK = "a link in it leads back up"
    WRONGLY_WRITTEN = "the address is not written in a way that its server takes"
    OTHER = "the server or the network reports an error"


_PASSING = {Trouble.BROKEN_OFF, Trouble.UNREACHABLE, Trouble.BUSY, Trouble.OTHER}
_BY_STATUS = {
    **dict.fromkeys((404, 410), Trouble.AWAY),
    **dict.fromkeys((401, 403, 407), Trouble.REFUSED),
    **dict.fromkeys((408, 504), Trouble.SILENT),
    **dict.fromkeys((429, 503), Trouble.BUSY),
}
# By the names of classes, as most of the packages they come from are not installed everywhere. The first that fits counts.
_BY_NAME = (
    (Trouble.AWAY, {"FileNotFoundError", "NotADirectoryError"}),
    (Trouble.REFUSED, {"PermissionError"}),
    (
        Trouble.NO_CREDENTIALS,
        {"NoCredentialsError", "PartialCredentialsError", "CredentialRetrievalError", "ProfileNotFound", "SSOError"}
        | {"TokenRetrievalError", "DefaultCredentialsError", "RefreshError", "ClientAuthenticationError"},
    ),
    (Trouble.UNTRUSTED, {"SSLError", "ClientSSLError", "ClientConnectorCertificateError"}),
    (Trouble.SILENT, {"TimeoutError", "ConnectTimeoutError", "ReadTimeoutError"}),
    (
        Trouble.BROKEN_OFF,
        {"ClientPayloadError", "ServerDisconnectedError", "ConnectionClosedError", "ResponseStreamingError"}
        | {"IncompleteRead", "IncompleteReadError", "ConnectionResetError", "BrokenPipeError"},
    ),
    (Trouble.UNREACHABLE, {"ClientConnectionError", "EndpointConnectionError", "ConnectionError", "gaierror"}),
    (Trouble.NO_PARTS, {"NoParts"}),
    (Trouble.LEADS_BACK, {"LeadsBack"}),
    (Trouble.BROKEN_ARCHIVE, {"BadZipFile", "ReadError"}),
    (Trouble.WRONGLY_WRITTEN, {"ParamValidationError", "InvalidURL", "ValueError"}),
)


class WrongAnswer(OSError):
    """A web server's answer that is none, by its status (RFC 9110, section 15)."""

    def __init__(self, status: int) -> None:
        super().__init__()
        self.status = status


class LeadsBack(OSError):
    """A folder that is one of those above it."""


class NoParts(OSError):
    """A web server gives whole files only."""


def trouble_of(error: BaseException) -> Trouble:
    """What an exception of a file system comes to."""
    status = getattr(error, "status", None)  # also on what aiohttp raises
    if isinstance(status, int) and status >= 400:
        return _BY_STATUS.get(status, Trouble.OTHER)
    names = {each.__name__ for each in type(error).__mro__}
    return next((trouble for trouble, theirs in _BY_NAME if names & theirs), Trouble.OTHER)


def tried(ask: Callable[[], _T]) -> _T:
    """What `ask` gives, asked once more where its trouble may be over by then. Raises what it raises."""
    for _ in range(_TRIES - 1):
        try:
            return ask()
        except (SpeckwiseError, MemoryError):
            raise
        except Exception as error:
            if trouble_of(error) not in _PASSING:
                raise
        time.sleep(_PAUSE_S)
    return ask()


def unreadable(error: BaseException) -> UnreadableShot:
    """The sentence for a photograph that could not be read."""
    if isinstance(error, MemoryError):
        return UnreadableShot("There is not enough memory to open this file.")
    trouble = trouble_of(error)
    if trouble is Trouble.AWAY:
        return UnreadableShot("The file is not there.")
    if trouble is Trouble.REFUSED:
        return UnreadableShot("The file may not be read: access is refused.")
    if isinstance(error, BadZipFile):
        return UnreadableShot("The file is broken in its archive; copy the archive again.")
    return UnreadableShot(f"The file can't be read: {trouble}.")


def too_large(most_bytes: int) -> UnreadableShot:
    """The sentence for a photograph of more bytes than are read."""
    return UnreadableShot(f"The file is larger than {most_bytes / (1 << 20):,.0f} MiB, the most that is read.")
