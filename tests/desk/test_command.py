"""The desk by its door: the command, a browser of another process, each way it may end."""

import re
import select
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from http.cookiejar import CookieJar

import pytest

from tests.sparing import only

START_S = 180


@pytest.fixture
def start(tmp_path):
    running = []

    def started():
        process = subprocess.Popen(
            [
                sys.executable, "-m", "battery.cli", "desk", "--no-browser",
                "--home", str(tmp_path),
            ],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        running.append(process)
        return process

    yield started
    for process in running:
        process.kill()
        process.communicate()


def address(folder):
    door = (folder / "desk.html").read_text(encoding="utf-8")
    return re.search(r'href="([^"]+)"', door)[1]


def browser():
    return urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))


def wait_until_open(process, folder):
    assert process.stdout.readline().startswith("The desk is open")
    until_s = time.monotonic() + START_S
    while True:
        try:
            return browser().open(address(folder)).read().decode()
        except urllib.error.URLError:
            assert time.monotonic() < until_s, "the desk did not answer"
            select.select([], [], [], 0.01)


def test_a_browser_comes_in_by_the_file_and_a_second_desk_is_refused(start, tmp_path):
    """No list of processes tells the secret, and the refusal is one line."""
    process = start()
    assert "Who are you?" in wait_until_open(process, tmp_path)
    secret = address(tmp_path).split("secret=")[1]
    command = subprocess.run(["ps", "-eo", "args"], capture_output=True, text=True).stdout
    assert secret not in command
    if sys.platform != "win32":
        assert (tmp_path / "desk.html").stat().st_mode & 0o077 == 0
    second = start()
    assert second.wait(START_S) == 1
    said = second.stderr.read()
    assert "a desk is open" in said
    assert len(said.strip().splitlines()) == 1


@pytest.mark.parametrize("how", only([signal.SIGTERM, signal.SIGKILL], [signal.SIGKILL]))
def test_after_an_end_of_any_kind_the_desk_opens_again(start, tmp_path, how):
    first = start()
    wait_until_open(first, tmp_path)
    first.send_signal(how)
    first.wait(START_S)
    if how == signal.SIGTERM:
        assert not (tmp_path / "desk.html").exists()
    assert "Who are you?" in wait_until_open(start(), tmp_path)
