"""Pictures for the documentation, taken only when ``BITTERN_SHOTS`` names a folder."""

from __future__ import annotations

import os
from pathlib import Path

from playwright.sync_api import Page

from .conftest import DESKTOP, PHONE

FOLDER = os.environ.get("BITTERN_SHOTS", "")


def take(page: Page, name: str) -> None:
    """Take the page on a desktop and on a phone, from its open leg on, and leave the size as it was."""
    if not FOLDER:
        return
    before = page.viewport_size or DESKTOP
    for device, size in (("phone", PHONE), ("desktop", DESKTOP)):
        page.set_viewport_size(size)  # type: ignore[arg-type]
        leg = page.locator(f"#leg-{name}")
        if leg.count():
            leg.evaluate("element => element.scrollIntoView({block: 'start', behavior: 'instant'})")
        page.screenshot(path=Path(FOLDER) / f"{device}-{name}.png", animations="disabled")
    page.set_viewport_size(before)
