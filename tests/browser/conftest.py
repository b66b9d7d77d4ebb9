"""A real browser without a network: pages are opened from disk, and asking for anything else fails the test."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from playwright.sync_api import sync_playwright

from tests.conftest import JUDGES, MISSING
from tests.deliver.sheet.real_shoot import run, write_shoot

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Dialog, Page

OWN = ("file:", "data:", "blob:")
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True, "device_scale_factor": 2}
LAPTOP = {"viewport": {"width": 1440, "height": 900}}
# The largest contentful measure of a shift that nobody caused; `hadRecentInput` leaves out what an answer moves.
WATCH_SHIFTS = """
window.shifts = 0;
new PerformanceObserver((list) => {
  for (const one of list.getEntries()) if (!one.hadRecentInput) window.shifts += one.value;
}).observe({ type: "layout-shift", buffered: true });
"""


@dataclass(slots=True)
class Heard:
    """What a page did that it must not: requests, messages of the console, errors, dialogs."""

    requests: list[str] = field(default_factory=list)
    console: list[str] = field(default_factory=list)
    dialogs: list[str] = field(default_factory=list)

    def nothing(self) -> bool:
        """Return whether all was quiet; a failing assertion shows what was not."""
        return not (self.requests or self.console or self.dialogs)


OpenPage = Callable[..., "Page"]


@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    """Start Debian's Chromium once; it is not left running beside other tests."""
    command = shutil.which("chromium")
    if command is None:
        pytest.skip(MISSING + "chromium")
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=command, args=["--no-sandbox", "--disable-gpu"])
        yield chromium
        chromium.close()


@pytest.fixture
def heard() -> Heard:
    """Return what is heard of the pages of one test."""
    return Heard()


@pytest.fixture
def open_page(browser: Browser, heard: Heard) -> Iterator[OpenPage]:
    """Return `open_page(file, **context)`: a page opened from disk; at the end all of them must have been quiet."""

    def dismissed(dialog: Dialog) -> None:
        heard.dialogs.append(dialog.message)
        dialog.dismiss()

    with ExitStack() as stack:

        def opened(file: Path, script: str | None = None, **options: Any) -> Page:  # noqa: ANN401 (Playwright's own)
            context: BrowserContext = browser.new_context(**{**LAPTOP, **options})
            stack.callback(context.close)
            page = context.new_page()
            page.on("request", lambda one: None if one.url.startswith(OWN) else heard.requests.append(one.url))
            page.on("console", lambda one: heard.console.append(one.text))
            page.on("pageerror", lambda one: heard.console.append(str(one)))
            page.on("dialog", dismissed)
            if script:
                page.add_init_script(script)
            page.goto(file.as_uri())
            return page

        yield opened
    assert heard.nothing()
    assert heard == Heard()


@pytest.fixture(scope="session")
def axe_script() -> str:
    """Return axe-core: named by PLATELINE_AXE, else where npm puts it below `.judges`."""
    script = Path(os.environ.get("PLATELINE_AXE") or JUDGES / "axe-core" / "axe.min.js")
    if not script.is_file():
        pytest.skip(MISSING + "axe-core")
    return script.read_text(encoding="utf-8")


@pytest.fixture(scope="session")
def _shown(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("shown")
    job = write_shoot(folder)
    assert run("export", job) == 0
    for arguments in (("--for", "partner"), ("--single",), ("--for", "partner", "--single")):
        assert run("sheet", job, *arguments) == 0
    return folder


@pytest.fixture
def shown(_shown: Path) -> Path:
    """Return the `sheet` folder of an exported shoot, to be looked at and not changed."""
    return _shown / "out" / "sheet"


@pytest.fixture
def job(_shown: Path, tmp_path: Path) -> Path:
    """Return the job of an exported shoot, to be changed."""
    shutil.copytree(_shown, tmp_path / "shoot")
    return tmp_path / "shoot" / "job-of-my-own.toml"
