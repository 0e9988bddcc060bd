"""What does a screen reader say on the pages of a morning, key by key?

Serves a copy of a demo store and does the keys below in Chromium with Orca on a screen of its own.
It needs Debian's xvfb, xdotool, orca, at-spi2-core, dbus and chromium. It prints what the keys were
and what Orca said. Run:

    linedays demo --no-serve && python -m tests.benchmarks.screen_reader FOLDER/demo.sqlite
"""

from __future__ import annotations

import argparse
import logging
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from tests.benchmarks.tasks import served

PAGES = {
    "/": "h h h h k k Return Tab Tab Tab Return space Tab Tab Return",
    "/families": "h Tab Tab Tab",
    "/retraining": "h h h h",
    "/rates": "h h h h",
    "/calls/sheet": "h Tab Tab Tab Tab",
}
"""Keys on each page: h is Orca's next heading, k its next link."""
SPEECH = re.compile(r"SPEECH OUTPUT: '(.*)'\{")
ECHO = re.compile(r"(\w|tab|return|space|left control|left alt) ?", re.IGNORECASE)


@contextmanager
def running(command: list[str], **settings: str) -> Iterator[None]:
    """Run a program and its children until the block ends."""
    program = subprocess.Popen(
        command,
        env={**os.environ, **settings},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        yield
    finally:
        os.killpg(program.pid, signal.SIGTERM)
        program.wait(20)


def said(heard: Path, since: int) -> tuple[list[str], int]:
    """What Orca said after a place of its log, without the names of the keys; and the new place."""
    text = heard.read_text(encoding="utf-8", errors="replace") if heard.exists() else ""
    spoken = SPEECH.findall(text[since:])
    return [words.strip() for words in spoken if not ECHO.fullmatch(words)], len(text)


def listen(address: str, folder: Path) -> None:
    """Do the keys on each page, and print them with what Orca said."""
    heard, browser = folder / "orca.txt", folder / "browser"
    window = ["--no-sandbox", "--no-first-run", "--disable-gpu", "--window-size=1440,900"]
    chromium = ["chromium", *window, "--force-renderer-accessibility", f"--user-data-dir={browser}"]
    with ExitStack() as started:
        started.enter_context(running(["/usr/libexec/at-spi-bus-launcher", "--launch-immediately"]))
        time.sleep(2)
        started.enter_context(running([*chromium, address + "/definitions"]))
        time.sleep(12)
        orca = ["orca", "--replace", "--disable", "braille", f"--debug-file={heard}"]
        started.enter_context(running(orca))
        time.sleep(10)
        place = 0
        for path, keys in PAGES.items():
            press("ctrl+l", 1)
            subprocess.run(["xdotool", "type", address + path], check=True)
            press("Return", 6)
            words, place = said(heard, place)
            print(f"\n# {path}")
            print(*(f"  {one}" for one in words[-2:]), sep="\n")
            for key in keys.split():
                press(key, 5 if key == "Return" else 1.2)
                words, place = said(heard, place)
                print(f"{key}:", *(f"\n  {one}" for one in words), sep="")


def press(key: str, seconds: float) -> None:
    """Press a key and wait."""
    subprocess.run(["xdotool", "key", "--clearmodifiers", key], check=True)
    time.sleep(seconds)


def main() -> None:
    """Start a screen and a message bus of its own, then listen in there."""
    logging.getLogger("waitress").setLevel(logging.ERROR)
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("store")
    parser.add_argument("--inside", type=Path, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.inside:
        listen(asked.store, asked.inside)
        return
    missing = [p for p in ("Xvfb", "xdotool", "orca", "dbus-run-session") if not shutil.which(p)]
    if missing:
        raise SystemExit(f"Not installed: {', '.join(missing)}.")
    display = f":{90 + os.getpid() % 1000}"
    with tempfile.TemporaryDirectory() as name, served(Path(asked.store)) as address:
        settings = {"DISPLAY": display, "HOME": name, "XDG_RUNTIME_DIR": name}
        with running(["Xvfb", display, "-screen", "0", "1440x900x24"]):
            time.sleep(2)
            inside = [sys.executable, "-m", "tests.benchmarks.screen_reader", address]
            subprocess.run(
                ["dbus-run-session", "--", *inside, "--inside", name],
                env={**os.environ, **settings, "ACCESSIBILITY_ENABLED": "1"},
                check=True,
            )


if __name__ == "__main__":
    main()
