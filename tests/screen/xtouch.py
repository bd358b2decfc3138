"""Fingers on a real touch device: an X server with the dummy screen and its own test input.

Xorg's `inputtest` driver (in Debian's xserver-xorg-core) takes touches from a UNIX socket and
passes them on as a touch screen would. Each server takes one client in its life.
"""

from __future__ import annotations

import contextlib
import os
import select
import shutil
import socket
import struct
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

CONFIG = """
Section "ServerFlags"
  Option "AutoAddDevices" "false"
  Option "DontVTSwitch" "true"
  Option "AllowMouseOpenFail" "true"
  Option "PciForceNone" "true"
EndSection
Section "Device"
  Identifier "memory"
  Driver "dummy"
  VideoRam 64000
EndSection
Section "Monitor"
  Identifier "glass"
  HorizSync 5.0-1000.0
  VertRefresh 5.0-200.0
  Modeline "1280x800" 83.50 1280 1352 1480 1680 800 803 809 831 -hsync +vsync
EndSection
Section "Screen"
  Identifier "screen"
  Device "memory"
  Monitor "glass"
  DefaultDepth 24
  SubSection "Display"
    Depth 24
    Modes "1280x800"
    Virtual 1280 800
  EndSubSection
EndSection
Section "InputDevice"
  Identifier "pointer"
  Driver "inputtest"
  Option "DeviceType" "PointerAbsolute"
  Option "SocketPath" "{folder}/pointer"
EndSection
Section "InputDevice"
  Identifier "keys"
  Driver "inputtest"
  Option "DeviceType" "Keyboard"
  Option "SocketPath" "{folder}/keys"
EndSection
Section "InputDevice"
  Identifier "fingers"
  Driver "inputtest"
  Option "DeviceType" "Touch"
  Option "TouchCount" "10"
  Option "SocketPath" "{folder}/fingers"
EndSection
Section "ServerLayout"
  Identifier "all"
  Screen "screen"
  InputDevice "pointer" "CorePointer"
  InputDevice "keys" "CoreKeyboard"
  InputDevice "fingers" "SendCoreEvents"
EndSection
"""
VERSION, TOUCH = 0, 6  # message types of the driver's protocol
BEGIN, UPDATE, END = 18, 19, 20  # XI2 touch event types
N_VALUATORS = 64
RANGE = 65_535  # the device's own units along either axis
SIZE_PX = (1280, 800)


class Fingers:
    """The client that moves fingers; places in pixels of the screen."""

    def __init__(self, path: Path) -> None:
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self._socket.connect(str(path))
        self._socket.sendall(struct.pack("=IIHH", 12, VERSION, 1, 1))
        self._socket.recv(64)

    def send(self, finger: int, kind: int, x_px: float, y_px: float) -> None:
        values = [0.0] * N_VALUATORS
        values[:2] = [x_px / SIZE_PX[0] * RANGE, y_px / SIZE_PX[1] * RANGE]
        # Native layout: the driver reads C structures; the doubles begin on a multiple of 8.
        body = struct.pack(
            f"@IIIII8s4x{N_VALUATORS}d{N_VALUATORS}d",
            0, TOUCH, finger, kind, 0, bytes([3]) + bytes(7), *values, *([0.0] * N_VALUATORS),
        )  # fmt: skip
        self._socket.sendall(struct.pack("@I", len(body)) + body[4:])

    def close(self) -> None:
        self._socket.close()


@contextlib.contextmanager
def touch_screen(folder: Path) -> Iterator[tuple[str, Path]]:
    """Run a server with a touch screen; give its display and the socket of the fingers."""
    program = shutil.which("Xorg")
    assert program, "Xorg is missing; see README for the system parts the tests need"
    (folder / "xorg.conf").write_text(CONFIG.format(folder=folder))
    read_fd, write_fd = os.pipe()
    server = subprocess.Popen(
        [program, "-displayfd", str(write_fd), "-config", str(folder / "xorg.conf"),
         "-logfile", str(folder / "xorg.log"), "-noreset", "-nolisten", "tcp",
         "-novtswitch", "-sharevts"],
        pass_fds=[write_fd], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    os.close(write_fd)
    try:
        until_s = time.monotonic() + 30
        text = b""
        while not text.endswith(b"\n"):
            ready = select.select([read_fd], [], [], max(0.0, until_s - time.monotonic()))[0]
            part = os.read(read_fd, 64) if ready else b""
            log = folder / "xorg.log"
            assert part, log.read_text() if log.exists() else "the X server did not start"
            text += part
        yield f":{text.decode().strip()}", folder / "fingers"
    finally:
        os.close(read_fd)
        server.kill()
        server.wait()
