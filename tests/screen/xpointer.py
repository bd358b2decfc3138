"""A process of its own that moves and presses the pointer through the X server (XTest).

Reads commands from standard input, one a line, and answers each with the monotonic time just
before it was sent: ``move X Y``, ``down``, ``up``, ``key CODE``, ``unfocus``, which takes the
keyboard from every window, and ``stream RATE SECONDS FILE``, which moves the pointer at a fixed
rate and writes all times to the file.
"""

import ctypes
import json
import math
import sys
import time

x11 = ctypes.CDLL("libX11.so.6")
xtst = ctypes.CDLL("libXtst.so.6")
x11.XOpenDisplay.restype = ctypes.c_void_p
x11.XOpenDisplay.argtypes = [ctypes.c_char_p]
x11.XFlush.argtypes = [ctypes.c_void_p]
x11.XSetInputFocus.argtypes = [
    ctypes.c_void_p, ctypes.c_ulong, ctypes.c_int, ctypes.c_ulong,
]  # fmt: skip
xtst.XTestFakeMotionEvent.argtypes = [
    ctypes.c_void_p, ctypes.c_int, ctypes.c_int, ctypes.c_int, ctypes.c_ulong,
]  # fmt: skip
xtst.XTestFakeButtonEvent.argtypes = [
    ctypes.c_void_p, ctypes.c_uint, ctypes.c_int, ctypes.c_ulong,
]  # fmt: skip
xtst.XTestFakeKeyEvent.argtypes = xtst.XTestFakeButtonEvent.argtypes


def stream(display, rate_hz, seconds, path):
    """Move on a fixed schedule; neighbouring places differ, so reports are known again."""
    n = int(rate_hz * seconds)
    sent = []
    begun_ns = time.perf_counter_ns() + 50_000_000
    for i in range(n):
        wait_ns = begun_ns + int(i * 1e9 / rate_hz) - time.perf_counter_ns()
        if wait_ns > 0:
            time.sleep(wait_ns * 1e-9)
        x = int(640 + 500 * math.sin(2 * math.pi * 5 * i / rate_hz))
        y = 100 + i % 600
        sent.append((time.perf_counter_ns(), x, y))
        xtst.XTestFakeMotionEvent(display, -1, x, y, 0)
        x11.XFlush(display)
    with open(path, "w") as file:  # noqa: PTH123  # this process imports as little as it can
        json.dump(sent, file)


def main():
    display = x11.XOpenDisplay(None)
    if not display:
        sys.exit("no display")
    print("ready", flush=True)
    for line in sys.stdin:
        words = line.split()
        now_ns = time.perf_counter_ns()
        if words[0] == "move":
            xtst.XTestFakeMotionEvent(display, -1, int(words[1]), int(words[2]), 0)
        elif words[0] in ("down", "up"):
            xtst.XTestFakeButtonEvent(display, 1, words[0] == "down", 0)
        elif words[0] == "key":
            for pressed in (1, 0):
                xtst.XTestFakeKeyEvent(display, int(words[1]), pressed, 0)
        elif words[0] == "unfocus":
            x11.XSetInputFocus(display, 0, 0, 0)
        elif words[0] == "stream":
            stream(display, float(words[1]), float(words[2]), words[3])
        x11.XFlush(display)
        print(now_ns, flush=True)


if __name__ == "__main__":
    main()
