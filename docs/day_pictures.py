"""Makes the pictures of "A day at the panel" again: `python docs/day_pictures.py`, with the packages of the tests and Debian's Chromium.

The day is drawn (tests/drawn_day.py), scored, answered as it was drawn, and reported; screens are those of a real browser. Nothing is real.
"""

from __future__ import annotations

import io
import sys
import tempfile
from pathlib import Path

from PIL import Image

ROOT = Path(__file__).parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from drawn_day import LOT, draw_day  # noqa: E402
from opened_desk import Screen, chromium, desk_on, on_to_flag  # noqa: E402
from test_day_at_the_panel import enter, review, truth_of  # noqa: E402

from cli.entry import run  # noqa: E402
from cli.review.shelf import read_shelf  # noqa: E402
from vision.files import write_bytes  # noqa: E402

PICTURES = ROOT / "docs" / "pictures"
_WIDE_PX = 1100
_QUALITY = 80


def put(name: str, picture: Image.Image) -> None:
    """Writes a picture no wider than a page shows it."""
    shrunk = picture.convert("RGB")
    shrunk.thumbnail((_WIDE_PX, 10_000), Image.Resampling.LANCZOS)
    out = io.BytesIO()
    shrunk.save(out, "JPEG", quality=_QUALITY)
    write_bytes(PICTURES / name, out.getvalue())


def main() -> None:
    """Draws, scores, reviews, enters, reports, and photographs the screens."""
    with tempfile.TemporaryDirectory() as place, chromium() as browser:
        day = draw_day(Path(place))
        scored, panel = Path(place) / "scored", Path(place) / "panel.toml"
        slips = [word for path in day.slips for word in ("--slip", str(path))]
        run(["calibrate", *map(str, day.blanks), *slips, "--out", str(panel)])
        run(["score", str(day.folder / "day"), "--out", str(scored), "--panel", str(panel)])
        put("day-water.jpg", Image.open(next(scored.glob("pictures/IMG_0005-????????.jpg"))))
        put("day-florets.jpg", Image.open(next(scored.glob("pictures/IMG_0007-????????.jpg"))))
        shelf = read_shelf(scored)
        with desk_on(scored) as desk:
            context = browser.new_context(viewport={"width": 1400, "height": 900})
            screen = Screen(context, desk.address)
            screen.begin("Mila Brandt")
            step = on_to_flag(screen)
            while "IMG_0005" not in screen.page.inner_text("#where"):
                screen.press("ArrowRight")
                screen.wait_for_step(step)
                step = on_to_flag(screen)
            put("day-desk.jpg", shown(screen.page))
            context.close()
            review(browser, desk, truth_of(shelf, day), len(shelf.flags))
            enter(browser, desk)
            page = browser.new_page(viewport={"width": 1280, "height": 1000})
            page.goto(f"{desk.address}lots/one?lot={LOT}")
            put("day-lot.jpg", shown(page))
        run(["report", str(scored), "--out", str(scored / "lot.html")])
        page = browser.new_page(viewport={"width": 1280, "height": 1100})
        page.goto((scored / "lot.html").as_uri())
        put("day-record.jpg", shown(page))
        page.locator("#insects").scroll_into_view_if_needed()
        page.evaluate("document.getElementById('insects').scrollIntoView()")
        put("day-insects.jpg", shown(page))


def shown(page: object) -> Image.Image:
    """What a browser's window shows."""
    return Image.open(io.BytesIO(page.screenshot()))  # type: ignore[attr-defined]


if __name__ == "__main__":
    main()
