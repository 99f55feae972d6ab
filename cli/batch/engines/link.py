"""A connection to a Dask scheduler, in an event loop with a thread of its own. Says nothing on the terminal."""

from __future__ import annotations

import asyncio
import concurrent.futures
import logging
import threading
import warnings
from collections.abc import Callable, Coroutine, Iterator
from contextlib import ExitStack, contextmanager, suppress
from typing import Any, TypeVar

from vision.errors import CallError

_CONNECT_S = 10.0
_CLOSE_S = 3.0
_CHATTY = ("distributed", "tornado")

T = TypeVar("T")


class Link:
    """The client of a Dask scheduler; used only by what is run through `do` and `start`."""

    def __init__(self, address: str) -> None:
        """Raises CallError where Dask is missing, or no scheduler answers there."""
        try:
            import distributed  # noqa: F401
        except ImportError:
            raise CallError(
                "Work on a cluster needs more than is installed: pip install 'speckwise[cluster]'."
            ) from None
        self._held = ExitStack()
        self._held.enter_context(_silent())
        self._loop = asyncio.new_event_loop()
        self._loop.set_exception_handler(lambda loop, told: None)  # what matters reaches whoever waits for it
        self._thread = threading.Thread(target=self._loop.run_forever, daemon=True)
        self._thread.start()
        self._running: set[concurrent.futures.Future[None]] = set()
        try:
            self.client: Any = self.do(_connected(address))
        except BaseException:
            self._stop()
            raise

    def do(self, work: Coroutine[Any, Any, T], limit_s: float | None = None) -> T:
        """Waits for it. Raises what it raises, and TimeoutError."""
        future = asyncio.run_coroutine_threadsafe(work, self._loop)
        try:
            return future.result(limit_s)
        except BaseException:
            future.cancel()
            raise

    def start(self, work: Coroutine[Any, Any, None]) -> None:
        """Does not wait for it."""
        future = asyncio.run_coroutine_threadsafe(work, self._loop)
        self._running.add(future)
        future.add_done_callback(self._running.discard)

    def close(self, before: Callable[[], Coroutine[Any, Any, None]]) -> None:
        """Lets the scheduler go after what is to be done `before`, as far as that takes no more than a moment. Never raises."""
        with suppress(Exception):
            self.do(before(), _CLOSE_S)
        with suppress(Exception):
            self.do(_closed(self.client), _CLOSE_S)
        self._stop()

    def _stop(self) -> None:
        with suppress(Exception):
            self.do(_nothing_left(), _CLOSE_S)
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(_CLOSE_S)
        if not self._thread.is_alive():
            self._loop.close()
        self._held.close()


async def _connected(address: str) -> Any:
    from distributed import Client

    make: Any = Client
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what differs and matters is told in our own words
        client = make(address, timeout=_CONNECT_S, asynchronous=True, set_as_default=False, name="speckwise")
        try:
            return await client
        except Exception as error:
            await _closed(client)
            raise CallError(f"No Dask scheduler answers at {address} ({error}).") from error


async def _closed(client: Any) -> None:
    await client.close(_CLOSE_S)


async def _nothing_left() -> None:
    left = asyncio.all_tasks() - {asyncio.current_task()}
    for task in left:
        task.cancel()
    await asyncio.gather(*left, return_exceptions=True)


@contextmanager
def _silent() -> Iterator[None]:
    """Dask's own lines would stand between ours; what a person should know of them we say."""
    loggers = [logging.getLogger(name) for name in _CHATTY]
    loggers += [
        each
        for name, each in logging.root.manager.loggerDict.items()
        if isinstance(each, logging.Logger)
        and name.startswith(tuple(f"{chatty}." for chatty in _CHATTY))
        and each.level
    ]
    levels = {logger: logger.level for logger in loggers}
    for logger in levels:
        logger.setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        for logger, level in levels.items():
            logger.setLevel(level)
