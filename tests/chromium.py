"""Chromium without windows and menus of its own, which take as much time as the pages."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from playwright.sync_api import Browser

CHROMIUM = shutil.which("chromium-headless-shell") or "/usr/bin/chromium"


@contextmanager
def launched() -> Iterator[Browser]:
    """A browser that asks nothing of other machines; one at a time in a process."""
    from playwright.sync_api import sync_playwright  # not every environment has it

    flags = ["--no-sandbox", "--disable-dev-shm-usage", "--disable-background-networking"]
    flags.append("--host-resolver-rules=MAP linedays.example.org 127.0.0.1")
    with sync_playwright() as play:
        chromium = play.chromium.launch(executable_path=CHROMIUM, args=flags)
        yield chromium
        chromium.close()
