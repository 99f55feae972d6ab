"""How quick the review desk is: from a key to the next speck on the screen, answers a second from eight writers, memory.

5,000 candidates on 50 photographs of 40 megapixels, in Debian's Chromium on this machine. `make bench-desk` prints the table.
"""

from __future__ import annotations

import sqlite3
import statistics
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

from opened_desk import Opened, Screen, chromium, desk_on
from scored_folder import Made, write_folder

from cli.review.answers import Answer
from cli.review.shelf import STORE, read_shelf
from cli.review.store import Store, sqlite_url

SIZE_PX = (7300, 5480)
SHOTS, FLAGS, OPEN_SHOTS = 50, 100, 4
KEYS, THOUGHT_MS = 220, 300
"""Answers, and the thought before each: far less than a person takes, so that less is made ready meanwhile."""
WRITERS, EACH = 8, 100
# From the key's own time stamp to the frame in which the next speck's sharp picture is painted.
_WATCH = """
window.spans = [];
let pressed = 0;
addEventListener("keydown", (event) => { pressed = event.timeStamp; }, true);
addEventListener("DOMContentLoaded", () => new MutationObserver(() => {
  const since = pressed;
  pressed = 0;
  if (since) requestAnimationFrame(() => setTimeout(() => window.spans.push(performance.now() - since)));
}).observe(document.getElementById("desk"), { attributeFilter: ["data-shown"] }));
"""


def main() -> None:
    """Prints the table."""
    with tempfile.TemporaryDirectory() as place:
        folder = write_folder(Path(place) / "scored", [made(k) for k in range(SHOTS)])
        print(f"{SHOTS} photographs of {SIZE_PX[0] * SIZE_PX[1] / 1e6:.0f} megapixels, {SHOTS * FLAGS} candidates")
        fill(folder)
        with chromium() as browser, desk_on(folder) as desk:
            to_flag, to_shot = key_to_next(browser, desk)
            show("key to the next speck, same photograph", to_flag)
            show("key to the next photograph", to_shot)
            print(f"memory of the desk at most: {most_memory_mb(desk.process.pid):.0f} MB")
        answers_a_second(folder)


def made(k: int) -> Made:
    """A photograph of the bench; all look alike, each is a file of its own."""
    return Made(f"{k:02d}.jpg", flags=FLAGS, size_px=SIZE_PX, px_per_mm=40.0)


def fill(folder: Path) -> None:
    """Answers on all but the first photographs, which the keys then go through: a long day's last answers, not its first."""
    shelf = read_shelf(folder)
    left = {shot.sha256 for shot in shelf.shots[:OPEN_SHOTS]}
    store = Store(sqlite_url(folder / STORE))
    for k, speck in enumerate(each for each in shelf.flags if each.shot_sha256 not in left):
        store.add_answer(Answer(speck, "not_insect", "Bo", token=f"before-{k}"))
    print(f"{len(store.said())} of them answered before")
    store.close()


def key_to_next(browser: Any, desk: Opened) -> tuple[list[float], list[float]]:
    """Milliseconds from key to picture, for flags and for whole photographs."""
    context = browser.new_context(viewport={"width": 1440, "height": 900})
    context.add_init_script(_WATCH)
    screen = Screen(context, desk.address)
    screen.begin("Ann")
    page = screen.page
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.getElementById('desk').dataset.shown.includes('/')")
    page.wait_for_timeout(2000)
    to_flag, to_shot = [], []
    for _ in range(KEYS):
        step, before = screen.shown(), page.evaluate("spans.length")
        page.keyboard.press("n" if "/" in step else "Enter")
        page.wait_for_function("before => spans.length > before", arg=before)
        (to_flag if "/" in screen.shown() else to_shot).append(page.evaluate("spans.at(-1)"))
        page.wait_for_timeout(THOUGHT_MS)
    screen.wait_until_kept()
    assert screen.faults == []
    context.close()
    return to_flag, to_shot


def show(name: str, spans: list[float]) -> None:
    """One line of the table."""
    tenths = statistics.quantiles(spans, n=20) if len(spans) > 1 else spans
    print(f"{name}: median {statistics.median(spans):.0f} ms, 95% within {tenths[-1]:.0f} ms, n {len(spans)}")


def most_memory_mb(process: int) -> float:
    """The largest resident size of a process so far (proc(5): VmHWM)."""
    line = next(x for x in Path(f"/proc/{process}/status").read_text().splitlines() if x.startswith("VmHWM"))
    return int(line.split()[1]) / 1024


def answers_a_second(folder: Path) -> None:
    """Eight writers on the record at once, and that nothing of what they were told is kept is missing."""
    specks = list(read_shelf(folder).flags)
    place = folder / "bench.sqlite"
    store = Store(sqlite_url(place))

    def write(who: int) -> None:
        for k in range(EACH):
            speck = specks[(who * EACH + k) % len(specks)]
            store.add_answer(Answer(speck, "not_insect", f"writer {who}", token=f"{who}-{k}"))

    writers = [threading.Thread(target=write, args=(who,)) for who in range(WRITERS)]
    begun = time.perf_counter()
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    seconds = time.perf_counter() - begun
    store.close()
    with sqlite3.connect(place) as record:
        kept = record.execute("SELECT count(DISTINCT token) FROM answers").fetchone()[0]
    asked = WRITERS * EACH
    print(f"{WRITERS} writers: {asked / seconds:.0f} answers a second, {asked - kept} of {asked} lost")


if __name__ == "__main__":
    main()
