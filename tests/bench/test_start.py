"""How long a person waits from the command to the first page, beside a bare window.

By hand, on a quiet machine: ``pytest tests/bench/test_start.py -m long -s``
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time

import pytest

from tests.bench.test_input_timing import say
from tests.screen.servers import enrol, program, virtual_screen

pytestmark = [pytest.mark.bench, pytest.mark.long]

REPEATS = 5
LIMIT = 8.0  # times a window that only imports numpy and the toolkit
BARE = """
import numpy, pygame
pygame.display.init()
pygame.font.init()
pygame.display.set_mode((1280, 800))
pygame.display.flip()
"""


def test_the_first_page_comes_soon(tmp_path):
    """From the start of the process to the first page, medians of five."""
    code = enrol(tmp_path)
    whole_s, bare_s = [], []
    with virtual_screen() as display:
        environment = {**os.environ, "DISPLAY": display, "PYGAME_HIDE_SUPPORT_PROMPT": "1"}
        for _ in range(REPEATS):
            begun_s = time.perf_counter()
            subprocess.run([sys.executable, "-c", BARE], env=environment, check=True)
            bare_s.append(time.perf_counter() - begun_s)
            begun_s = time.perf_counter()
            arguments = ("visit", code, "--windowed")
            with program(display, tmp_path, *arguments) as (_, published):
                published.wait(lambda s: s["page"] == "card width")
                whole_s.append(time.perf_counter() - begun_s)
    whole, bare = statistics.median(whole_s), statistics.median(bare_s)
    say(f"\nfirst page after {whole:.2f} s, bare window {bare:.2f} s, {whole / bare:.1f} times")
    assert whole <= LIMIT * bare
