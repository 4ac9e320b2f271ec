"""Draws the README's pictures anew: the demo's pages as a browser shows them.

``python tests/pictures.py`` starts the demo, waits until its first judging is done, and writes
one PNG a page into ``dashboard/pictures``.
"""

import io
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

from PIL import Image
from playwright.sync_api import Browser, sync_playwright

from servers import BROWSER_FLAGS, answers, free_port, program, wait_for

FOLDER = Path(__file__).parents[1] / "dashboard/pictures"
WIDTH_PX = 1000
COLOURS = 128
PATIENCE_S = 900.0
"""The history comes behind the first pages, and the first judging behind that."""


class Picture(NamedTuple):
    """A page, the heading that shows when the night's results are in, and the height [px]."""

    name: str
    path: str
    heading: str
    height_px: int


PICTURES = (
    Picture("swap", "/swap", "Saved so far", 1040),
    Picture("boiler", "/boiler", "Fuel over the weather", 800),
    Picture("now", "/", "The plant", 680),
)


def main(folder: Path = FOLDER) -> None:
    """Run the demo, take every picture and end the demo."""
    port, broker = str(free_port()), str(free_port())
    command = [sys.executable, "-m", "dashboard", "demo", "--port", port, "--broker-port", broker]
    demo = subprocess.Popen(command, cwd=FOLDER.parents[1])
    try:
        wait_for(lambda: answers(int(port)), PATIENCE_S, "the demo")
        folder.mkdir(exist_ok=True)
        with sync_playwright() as playwright:
            path = program("chromium")
            browser = playwright.chromium.launch(executable_path=path, args=list(BROWSER_FLAGS))
            for picture in PICTURES:
                take(browser, f"http://127.0.0.1:{port}", picture, folder)
            browser.close()
    finally:
        demo.terminate()
        demo.wait(60)


def take(browser: Browser, site: str, picture: Picture, folder: Path) -> None:
    """Write one page as a PNG of few colours, which a flat drawing bears well."""
    page = browser.new_page(viewport={"width": WIDTH_PX, "height": picture.height_px})
    heading = page.get_by_role("heading", name=picture.heading)

    def is_there() -> bool:
        page.goto(site + picture.path)
        page.wait_for_timeout(2_000)
        return heading.is_visible()

    wait_for(is_there, PATIENCE_S, f"'{picture.heading}' on {picture.path}")
    page.wait_for_timeout(5_000)  # charts and live values come after the headings
    shown = Image.open(io.BytesIO(page.screenshot()))
    few = shown.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    few.save(folder / f"{picture.name}.png", optimize=True)
    page.close()


if __name__ == "__main__":
    main()
