"""A process of its own that puts fingers on the touch panel of an Xorg server.

Speaks to the server's own ``inputtest`` driver through a socket, given as the first argument
before the panel's width and height in pixels, so that what arrives went the whole way of a
touch: device, X server, XInput 2, toolkit. A server takes one such connection in its life.

Reads commands from standard input, one a line, and answers each with the monotonic time just
before it was sent: ``down FINGER X Y``, ``move FINGER X Y``, ``up FINGER X Y``, and
``stream RATE SECONDS FILE``, which moves two fingers at a fixed rate and writes all times to
the file.
"""

import json
import math
import socket
import struct
import sys
import time

# xorg-server, include/xf86-input-inputtest-protocol.h, and XInput 2.2 for the kinds of touch.
HEAD = struct.Struct("=II")  # length, type
VERSION = struct.Struct("=IIHH")
TOUCH = struct.Struct("=IIIII8s4x64d64d")  # head, finger, kind, valuators
CLIENT_VERSION, WAIT_FOR_SYNC, TOUCH_EVENT = 0, 1, 6
KINDS = {"down": 18, "move": 19, "up": 20}
X_AND_Y = bytes([3, 0, 0, 0, 0, 0, 0, 0])  # the valuators that are given
REST = (0.0,) * 62
STEPS = 65536  # the panel's resolution on either axis


class Panel:
    def __init__(self, path, width_px, height_px):
        self._width_px, self._height_px = width_px, height_px
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self._socket.connect(path)
        self._socket.sendall(VERSION.pack(VERSION.size, CLIENT_VERSION, 1, 1))
        self._socket.recv(64)

    def touch(self, kind, finger, x, y):
        values = (x * STEPS / self._width_px, y * STEPS / self._height_px, *REST)
        self._socket.sendall(
            TOUCH.pack(
                TOUCH.size, TOUCH_EVENT, finger, KINDS[kind], 0, X_AND_Y, *values, *(0.0,) * 64
            )
        )

    def sync(self):
        """Wait until the server has taken everything."""
        self._socket.sendall(HEAD.pack(HEAD.size, WAIT_FOR_SYNC))
        self._socket.recv(64)

    def stream(self, rate_hz, seconds, path):
        """Two fingers on opposite waves; every position occurs once."""
        n = int(rate_hz * seconds)
        sent = []
        begun_ns = time.perf_counter_ns() + 50_000_000
        for i in range(n):
            wait_ns = begun_ns + int(i * 1e9 / rate_hz) - time.perf_counter_ns()
            if wait_ns > 0:
                time.sleep(wait_ns * 1e-9)
            swing = 150 * math.sin(2 * math.pi * 2 * i / rate_hz)
            for finger, x, y in (
                (1, 400 + swing, 150 + i % 500),
                (2, 900 - swing, 650 - i % 500),
            ):
                sent.append((time.perf_counter_ns(), finger, round(x), y))
                self.touch("move" if i else "down", finger, round(x), y)
        for finger in (1, 2):
            _, _, x, y = next(row for row in reversed(sent) if row[1] == finger)
            self.touch("up", finger, x, y)
        with open(path, "w") as file:  # noqa: PTH123  # this process imports as little as it can
            json.dump(sent, file)


def answer(line):
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def main():
    panel = Panel(sys.argv[1], *map(int, sys.argv[2:]))
    answer("ready")
    for line in sys.stdin:
        words = line.split()
        now_ns = time.perf_counter_ns()
        if words[0] in KINDS:
            panel.touch(words[0], int(words[1]), float(words[2]), float(words[3]))
        elif words[0] == "stream":
            panel.stream(float(words[1]), float(words[2]), words[3])
        panel.sync()
        answer(now_ns)


if __name__ == "__main__":
    main()
