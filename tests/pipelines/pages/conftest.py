"""The pages of tests in a real browser: Debian's Chromium, driven by Playwright, with its network and its console watched."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]


@dataclass
class Desk:
    """One open window. console: what pages wrote there; asked: addresses other than files; dialogs: what was asked."""

    page: Page
    console: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)
    dialogs: list[str] = field(default_factory=list)

    def open(self, path: Path, fragment: str = "") -> Page:
        """Shows a page of a folder and waits until it is loaded."""
        self.page.goto(path.as_uri() + fragment)
        return self.page

    def quiet(self) -> list[str]:
        """All that a page should not have done; empty if it kept quiet."""
        return [*self.console, *self.asked, *self.dialogs]


@dataclass(frozen=True)
class Windows:
    """Opens windows of a width in pixels; more: what Playwright calls options of a context."""

    browser: Browser

    @contextmanager
    def window(self, width: int = 1280, **more: Any) -> Iterator[Desk]:
        context = self.browser.new_context(viewport={"width": width, "height": 844}, **more)
        desk = Desk(context.new_page())
        desk.page.on("console", lambda message: desk.console.append(message.text))
        desk.page.on("pageerror", lambda error: desk.console.append(str(error)))
        desk.page.on("request", lambda sent: None if sent.url.startswith("file:") else desk.asked.append(sent.url))

        def dismissed(dialog: Any) -> None:
            desk.dialogs.append(dialog.message)
            dialog.dismiss()

        desk.page.on("dialog", dismissed)
        try:
            yield desk
        finally:
            context.close()


@pytest.fixture(scope="module")
def windows() -> Iterator[Windows]:
    """A browser for the tests of a module: Playwright keeps an event loop running in the thread, which others need."""
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine, so pages cannot be looked at; .ci/run installs it")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield Windows(browser)
        browser.close()
