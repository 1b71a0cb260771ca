"""An accessibility scan by axe-core: WCAG 2.1 A and AA and its best practices, no exceptions."""

from __future__ import annotations

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

_AXE = Axe()


def check_page(page: Page) -> None:
    """Fail with what axe-core found, if anything."""
    found = _AXE.run(page)
    assert found.violations_count == 0, f"{page.url}\n{found.generate_report()}"
