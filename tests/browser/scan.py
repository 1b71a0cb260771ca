"""An accessibility scan by axe-core: WCAG 2.1 A and AA and its best practices, no exceptions."""

from __future__ import annotations

from collections.abc import Sequence

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

_AXE = Axe()


def check_page(page: Page, *, rules: Sequence[str] = ()) -> None:
    """Fail with what axe-core found, if anything; ``rules`` names the only ones to apply."""
    options = {"runOnly": {"type": "rule", "values": list(rules)}} if rules else None
    found = _AXE.run(page, options=options)
    assert found.violations_count == 0, f"{page.url}\n{found.generate_report()}"
