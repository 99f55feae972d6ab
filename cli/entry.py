"""The entry point: checks that what is installed is whole, runs the command, and turns what goes wrong into a sentence and a code."""

from __future__ import annotations

import importlib
import os
import sys
import traceback
from collections.abc import Callable, Sequence

from cli.exits import (
    ALL_DONE,
    CALL_IS_WRONG,
    STOPPED_BY_USER,
    STOPPED_HALF_WAY,
    StoppedByUser,
    StoppedHalfWay,
    why_stopped,
)

APP = "speckwise"
TRACEBACK_VARIABLE = "SPECKWISE_TRACEBACK"
"""Set to anything, it makes a fault of our own show where it happened."""


def main() -> None:
    """The `speckwise` command."""
    for stream in (sys.stdout, sys.stderr):
        # A file name may hold what the terminal's encoding can't show; that must not end the work.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    sys.exit(run(sys.argv[1:]))


def run(arguments: Sequence[str]) -> int:
    """Runs one command line and returns its exit code; every failure has been said on stderr."""
    in_the_way = what_is_in_the_way()
    if in_the_way:
        return _say(in_the_way, STOPPED_HALF_WAY)
    from cli.app import app

    return guarded(lambda: app(list(arguments), prog_name=APP, standalone_mode=False))


def guarded(command: Callable[[], object]) -> int:
    """The exit code of `command`, which returns its own, or None when all is done."""
    from vision.errors import CallError, GuideError, ProfileError, RankerError, SpeckwiseError

    try:
        code = command()
        sys.stdout.flush()
        return code if isinstance(code, int) else ALL_DONE
    except (StoppedByUser, KeyboardInterrupt) as error:
        return _say(str(error) or "Stopped.", STOPPED_BY_USER)
    except SpeckwiseError as error:
        # What was asked for can't be done: another call can. The rest, such as a full disk, is nobody's call.
        of_the_call = isinstance(error, CallError | GuideError | ProfileError | RankerError)
        return _say(str(error), CALL_IS_WRONG if of_the_call else STOPPED_HALF_WAY)
    except ImportError as error:
        return _say(what_import_lacks(error), STOPPED_HALF_WAY, error)
    except BrokenPipeError:
        # Whoever read our lines has gone. Python would complain once more while it closes the stream.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return STOPPED_HALF_WAY
    except StoppedHalfWay as error:
        return _say(str(error), STOPPED_HALF_WAY, error)
    except Exception as error:
        if hasattr(error, "show") and hasattr(error, "exit_code"):
            # An unknown option or a missing argument, in typer's own words: its class has moved between versions.
            error.show()
            return CALL_IS_WRONG
        if type(error).__name__ == "Abort":
            return _say("Stopped.", STOPPED_BY_USER)
        hint = "" if os.environ.get(TRACEBACK_VARIABLE) else f" {TRACEBACK_VARIABLE}=1 shows where."
        return _say(why_stopped(error) + hint, STOPPED_HALF_WAY, error)


def what_is_in_the_way() -> str:
    """A sentence where another distribution's package stands in the place of one of ours; '' where all is ours."""
    for name in ("vision", "calib", "cli"):
        try:
            module = importlib.import_module(name)
        except ImportError:
            return f"Speckwise's package '{name}' is missing. {_REINSTALL}"
        if getattr(module, "__app__", None) != APP:
            others = [other for other in _distributions_with(name) if other != APP]
            whose = (
                f"the distribution {' or '.join(others)}" if others else str(getattr(module, "__file__", "a folder"))
            )
            return f"Another package called '{name}' is in the way: it comes from {whose}. {_REINSTALL}"
    return ""


_REINSTALL = (
    "Install Speckwise in an environment of its own: python3 -m venv DIR, then DIR/bin/python -m pip install speckwise."
)


def _distributions_with(package: str) -> list[str]:
    from importlib.metadata import packages_distributions

    return sorted(set(packages_distributions().get(package, ())))


def two_opencvs() -> str:
    """A sentence where more than one distribution of OpenCV is installed; '' otherwise. Does not import it."""
    from cli.batch.record import OPENCV_DISTRIBUTIONS, installed_versions

    found = list(installed_versions(OPENCV_DISTRIBUTIONS))
    if len(found) < 2:
        return ""
    return (
        f"{' and '.join(found)} are installed together and overwrite each other's files. Uninstall all of them, then "
        f"install opencv-python-headless alone: python -m pip uninstall {' '.join(found)}; "
        f"python -m pip install opencv-python-headless."
    )


def warn_of_two_opencvs() -> None:
    """Says so on stderr where more than one is installed; the work goes on, as long as what was overwritten still loads."""
    warning = two_opencvs()
    if warning:
        print(f"speckwise: {warning}", file=sys.stderr)


def what_import_lacks(error: ImportError) -> str:
    """A sentence for an import that failed."""
    together = two_opencvs()
    if together and "cv2" in f"{error.name} {error}":
        return together
    if "libGL.so" in str(error):
        return (
            "OpenCV can't start because this machine has no libGL. Install the build that does without it "
            "(python -m pip uninstall opencv-python; python -m pip install opencv-python-headless), "
            "or the library (on Debian and Ubuntu: apt-get install libgl1)."
        )
    if isinstance(error, ModuleNotFoundError):
        return f"The package '{error.name}' is missing. {_REINSTALL}"
    return f"A package can't be loaded: {error}."


def _say(sentence: str, code: int, error: BaseException | None = None) -> int:
    if error is not None and os.environ.get(TRACEBACK_VARIABLE):
        traceback.print_exception(error)
    print(f"speckwise: {sentence}", file=sys.stderr, flush=True)
    return code
