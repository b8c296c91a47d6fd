"""Make the pictures of the bench's page, of a session on a virtual display with SIMULATED measurements.

    .venv/bin/python docs/make_bench.py

Chromium shows the page; Xvfb is the output that feeds no set.
"""

from __future__ import annotations

import re
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from PIL import Image

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT)]

from tests.bench import PHOTO, Page, bench  # noqa: E402
from tests.framebuffer import XVFB, display  # noqa: E402
from tests.pages import CHROMIUM, Browser, browser  # noqa: E402
from trueraster.cli import run  # noqa: E402

TO = ROOT / "docs" / "pictures"
SET = "14-inch monitor, no. 0412"
PHONE, DESK = (390, 844), (1000, 760)
COLOURS = 48
GREYS = ROOT / "docs" / "examples" / "grey-readings.csv"


def main() -> int:
    if CHROMIUM is None or XVFB is None:
        print("there is no Chromium or no Xvfb here to show the page with", file=sys.stderr)
        return 1
    with tempfile.TemporaryDirectory() as name:
        record = Path(name) / "harbour-lane-0412.json"
        run(["record", "new", str(record), "--set", SET, "--accepts", "480p"])
        with (
            display(720, 480) as shown,
            bench(record, environment=shown.environment) as (page, _),
            browser(page.url) as phone,
        ):
            pages = session(page, phone, Path(name))
        with bench(Path(name) / "player.json", "--player") as (page, _), browser(page.url) as phone:
            page.set_up(formats="480i", job="quick", accepts="15kHz")
            page.do("go", "480i/crosshatch")
            pages["player"] = shot(phone, Path(name), PHONE)
        side_by_side([pages[one] for one in ("set-up", "cautions", "warm-up", "degauss")], TO / "bench-begin.png")
        side_by_side([pages[one] for one in ("change", "pattern", "player", "end")], TO / "bench-cards.png")
        side_by_side([pages[one] for one in ("answer", "reading")], TO / "simulation-bench-answers.png")
        side_by_side([pages["desk"]], TO / "simulation-bench-desk.png")
    return 0


def session(page: Page, phone: Browser, folder: Path) -> dict[str, Image.Image]:
    """Every kind of card, as a phone shows it, and one as a desktop does."""
    pages = {"set-up": shot(phone, folder, PHONE)}
    page.set_up(formats="480p", job="whole")
    for name, card in (
        ("cautions", "cautions"),
        ("warm-up", "warm-up"),
        ("degauss", "degauss"),
        ("change", "480p/change"),
        ("pattern", "480p/pluge"),
    ):
        page.do("go", card)
        if name == "warm-up":
            page.do("warm")
        pages[name] = shot(phone, folder, PHONE)
    page.do("go", "480p/crosshatch")
    page.do("marks_mm", "470x360")
    page.upload("photo", "480p/crosshatch", ("SIMULATION.jpg", PHOTO.read_bytes()))
    page.do("keep", "2")
    page.do("stage", "after-adjustment")
    pages["answer"] = shot(phone, folder, PHONE, "article.newest")
    pages["desk"] = shot(phone, folder, DESK)
    page.do("go", "480p/read/grey/10%")
    rows = re.findall(r"^(\w+),(\d+),([\d.]+),([\d.]+),([\d.]+)", GREYS.read_text(encoding="utf-8"), re.MULTILINE)
    page.do("readings", "\n".join(" ".join(row) for row in rows))
    page.upload("grey", "480p/read/grey/10%")
    pages["reading"] = shot(phone, folder, PHONE, "article.newest")
    page.do("go", "end")
    pages["end"] = shot(phone, folder, PHONE)
    return pages


def shot(phone: Browser, folder: Path, size: tuple[int, int], at: str = "") -> Image.Image:
    """What a screen of this size shows, from an element on."""
    phone.show(*size)
    phone.call("Emulation.setScrollbarsHidden", hidden=True)
    # The page asks once a second what has changed.
    time.sleep(2.0)
    phone.evaluate(f"document.querySelector({at!r}).scrollIntoView()" if at else "scrollTo(0, 0)")
    top = phone.evaluate("scrollY")
    path = folder / "shot.png"
    phone.screenshot(path, top, size[1])
    with Image.open(path) as image:
        return image.convert("RGB")


def side_by_side(pages: Sequence[Image.Image], to: Path) -> None:
    gap = 12
    width = sum(one.width + gap for one in pages) - gap
    whole = Image.new("RGB", (width, max(one.height for one in pages)), "white")
    left = 0
    for one in pages:
        whole.paste(one, (left, 0))
        left += one.width + gap
    whole.quantize(COLOURS, dither=Image.Dither.NONE).save(to, optimize=True)


if __name__ == "__main__":
    sys.exit(main())
