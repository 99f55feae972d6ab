"""A page as a PDF, printed by a browser that is installed; this program has no printer of its own."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from pathlib import Path

from vision.errors import CallError, SpeckwiseError

BROWSERS = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "chrome",
    "msedge",
    "microsoft-edge",
)
"""Programs that print a page from the command line, by their names on the PATH."""
NO_BROWSER = (
    "A .pdf is printed by an installed browser (Chromium, Chrome or Edge), and none was found. "
    "Write an .html, open it, and print it from there."
)
_LIMIT_S = 120


class NotPrinted(SpeckwiseError):
    """A browser did not print; the message is a whole sentence."""


def browser() -> str | None:
    """The first browser that is there."""
    return next((found for name in BROWSERS if (found := shutil.which(name))), None)


def as_pdf(page: str) -> bytes:
    """The page as a PDF. Raises CallError where there is no browser, NotPrinted where it fails."""
    program = browser()
    if program is None:
        raise CallError(NO_BROWSER)
    # What the browser still writes while it ends is no reason to lose what it has printed.
    with tempfile.TemporaryDirectory(prefix="speckwise-", ignore_cleanup_errors=True) as folder:
        source, target = Path(folder) / "record.html", Path(folder) / "record.pdf"
        source.write_text(page, encoding="utf-8")
        command = [
            program,
            "--headless",
            # Our own page, without a script of ours or anybody's: nothing has to be kept in.
            "--no-sandbox",
            "--disable-gpu",
            "--no-pdf-header-footer",
            f"--user-data-dir={folder}/profile",
            f"--print-to-pdf={target}",
            source.as_uri(),
        ]
        try:
            done = subprocess.run(command, capture_output=True, timeout=_LIMIT_S, check=False)
        except (OSError, subprocess.TimeoutExpired):
            raise NotPrinted(
                f"{Path(program).name} did not print the page. Write an .html and print it from there."
            ) from None
        if done.returncode or not target.is_file():
            raise NotPrinted(f"{Path(program).name} did not print the page. Write an .html and print it from there.")
        return target.read_bytes()
