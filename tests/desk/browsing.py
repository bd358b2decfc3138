"""The desk as people meet it: the command on a store, and a real browser led in by its file."""

import contextlib
import os
import re
import select
import shutil
import socket
import subprocess
import sys
import time
from pathlib import Path

START_S = 180
WAIT_MS = 180_000  # for what comes at once where nothing else runs
CHROMIUM = ("chromium", "chromium-browser", "google-chrome")


@contextlib.contextmanager
def open_desk(folder, *, plugged_in=None, environment=None):
    """Run ``battery desk`` on a store and give the address its file leads to.

    Parameters
    ----------
    plugged_in : path, optional
        A folder that this machine takes for a drive.
    environment : mapping, optional
        What differs for the program.
    """
    program = ["-m", "battery.cli"]
    if plugged_in is not None:
        program = ["-m", "tests.desk.desk_child", str(plugged_in)]
    process = subprocess.Popen(
        [sys.executable, *program, "desk", "--no-browser", "--home", str(folder)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env={**os.environ, **(environment or {})},
    )  # fmt: skip
    try:
        assert process.stdout.readline().startswith("The desk is open")
        door = (Path(folder) / "desk.html").read_text(encoding="utf-8")
        address = re.search(r'href="([^"]+)"', door)[1]
        _wait(int(re.search(r":(\d+)/", address)[1]))
        yield process, address
    finally:
        process.kill()
        process.communicate()


def _wait(port):
    until_s = time.monotonic() + START_S
    while True:
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
        except OSError:
            assert time.monotonic() < until_s, "the desk did not answer"
            select.select([], [], [], 0.01)
        else:
            return


@contextlib.contextmanager
def open_browser():
    """The system's Chromium, without a window."""
    from playwright.sync_api import sync_playwright

    program = next(path for name in CHROMIUM if (path := shutil.which(name)))
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=["--no-sandbox"])
        yield browser
        browser.close()


def come_in(page, address, initials="AB", code="2468"):
    """Sign in by the file's address and sit down, with keys alone."""
    page.set_default_timeout(WAIT_MS)
    page.goto(address)
    if page.locator("nav").count():  # somebody sits there already
        return
    if page.locator("input[name=again]").count():
        page.locator("input[name=initials]").fill(initials)
        page.locator("input[name=again]").fill(code)
    page.locator("input[name=code]").fill(code)
    page.locator("input[name=code]").press("Enter")
    page.wait_for_selector("nav")
