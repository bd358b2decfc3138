"""What happens to the screen while a window is open: another size, another display, sleep.

The toolkit hears of a new size from Windows, macOS, Wayland and from a window manager of X, but
not from the X server itself. So there the server is asked, over a connection that is kept: one
question takes less than a tenth of a millisecond.
"""

from __future__ import annotations

import ctypes
import ctypes.util
import sys
import time
from collections.abc import Callable
from typing import Any

import pygame

from tasks.contract import NS_PER_S

LOOK_NS = NS_PER_S  # between two looks at the desktop
SLEPT_NS = 3 * NS_PER_S  # nothing else keeps the program from reading for so long


class Desktop:
    """Sizes of the displays, as they are now."""

    def __init__(self) -> None:
        self._server = _Server.found()

    def sizes(self) -> tuple[tuple[int, int], ...]:
        """Return the size of every display in pixels, on X also of all together."""
        own = tuple(pygame.display.get_desktop_sizes())
        whole = self._server.size_px() if self._server is not None else None
        return own if whole is None else (*own, whole)

    def close(self) -> None:
        """Let go of the connection."""
        if self._server is not None:
            self._server.close()
            self._server = None


class _Server:
    """A connection to the X server."""

    def __init__(self, library: Any, display: int) -> None:
        self._library = library
        self._display = ctypes.c_void_p(display)
        self._root = library.XDefaultRootWindow(self._display)

    @classmethod
    def found(cls) -> _Server | None:
        """Return a connection, or None where the toolkit draws on something else."""
        if pygame.display.get_driver() != "x11":
            return None
        try:
            library = ctypes.CDLL(ctypes.util.find_library("X11") or "libX11.so.6")
        except OSError:
            return None
        library.XOpenDisplay.restype = ctypes.c_void_p
        library.XDefaultRootWindow.restype = ctypes.c_ulong
        display = library.XOpenDisplay(None)
        return cls(library, display) if display else None

    def size_px(self) -> tuple[int, int] | None:
        """Return the size of what the server shows."""
        root, numbers = ctypes.c_ulong(), [ctypes.c_uint() for _ in range(6)]
        heard = self._library.XGetGeometry(
            self._display,
            ctypes.c_ulong(self._root),
            ctypes.byref(root),
            *(ctypes.byref(number) for number in numbers),
        )
        return (numbers[2].value, numbers[3].value) if heard else None

    def close(self) -> None:
        self._library.XCloseDisplay(self._display)


def _asleep_ns() -> int:
    """How long the machine has slept since it was started, where the system tells; else 0."""
    if sys.platform == "linux":
        return time.clock_gettime_ns(time.CLOCK_BOOTTIME) - time.clock_gettime_ns(
            time.CLOCK_MONOTONIC
        )
    return 0


class Wakefulness:
    """Tells that the machine, or this program alone, has slept.

    Parameters
    ----------
    now_ns : callable
        The clock that stamps; on some systems it stands still while the machine sleeps.
    asleep_ns : callable
        Time slept so far.
    """

    def __init__(
        self, now_ns: Callable[[], int], asleep_ns: Callable[[], int] = _asleep_ns
    ) -> None:
        self._now_ns, self._asleep_ns = now_ns, asleep_ns
        self.begin()

    def begin(self) -> None:
        """Watch from now on."""
        self._last_ns, self._slept_ns = self._now_ns(), self._asleep_ns()

    def slept(self) -> bool:
        """Whether it slept since this was last asked."""
        now_ns, slept_ns = self._now_ns(), self._asleep_ns()
        gone_ns = max(now_ns - self._last_ns, slept_ns - self._slept_ns)
        self._last_ns, self._slept_ns = now_ns, slept_ns
        return gone_ns >= SLEPT_NS
