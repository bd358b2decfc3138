"""Sleeping until something arrives, in the very library the toolkit runs on.

The toolkit's own wait looks once a millisecond; the wait of the library beneath it is woken by
the arrival itself. That library is used only if it is found among what this process has
loaded already, never as a second copy. Where it is not found, short naps take its place.
"""

from __future__ import annotations

import ctypes
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pygame

from tasks.contract import NS_PER_MS

MAX_MS = 1  # of one wait: it bounds the error of a stamp by what can be known for sure
NAP_NS = 250_000  # between two looks without the library
VIDEO = 0x20  # SDL_INIT_VIDEO


class Waiter:
    """Lets other programs run until an event arrives, or for a moment."""

    def __init__(self, library: ctypes.CDLL | None) -> None:
        self._library = library

    @property
    def is_woken(self) -> bool:
        """Whether an arrival ends the wait; otherwise it is naps."""
        return self._library is not None

    def rest(self, longest_ns: int) -> None:
        """Wait for an event, at the longest a millisecond or `longest_ns`."""
        if longest_ns <= 0:
            return
        whole_ms = min(longest_ns // NS_PER_MS, MAX_MS)
        if self._library is not None and whole_ms:
            self._library.SDL_WaitEventTimeout(None, whole_ms)  # leaves the event in the queue
        else:
            time.sleep(min(longest_ns, NAP_NS) * 1e-9)


def find_library() -> ctypes.CDLL | None:
    """Return the library the toolkit runs on, or None where it cannot be told for certain.

    The toolkit's display must have been initialised.
    """
    for path in _loaded():
        if "SDL2" not in Path(path).name or "SDL2_" in Path(path).name:
            continue
        try:
            library = _open(path)
            wait = library.SDL_WaitEventTimeout
            started = library.SDL_WasInit(VIDEO)
        except (OSError, AttributeError):
            continue
        if started and _version(library) == pygame.get_sdl_version():
            wait.argtypes = [ctypes.c_void_p, ctypes.c_int]
            return library
    return None


def _version(library: ctypes.CDLL) -> tuple[int, int, int]:
    numbers = (ctypes.c_uint8 * 3)()
    library.SDL_GetVersion(ctypes.byref(numbers))
    return (numbers[0], numbers[1], numbers[2])


if sys.platform == "win32":

    def _loaded() -> Iterator[str]:
        yield "SDL2.dll"

    def _open(path: str) -> ctypes.CDLL:
        find = ctypes.windll.kernel32.GetModuleHandleW
        find.restype = ctypes.c_void_p
        handle = find(path)
        if not handle:
            msg = f"{path} is not loaded"
            raise OSError(msg)
        return ctypes.CDLL(path, handle=handle)

elif sys.platform == "darwin":

    def _loaded() -> Iterator[str]:
        own = ctypes.CDLL(None)
        own._dyld_get_image_name.restype = ctypes.c_char_p
        for index in range(own._dyld_image_count()):
            yield own._dyld_get_image_name(index).decode()

    def _open(path: str) -> ctypes.CDLL:
        return ctypes.CDLL(path)

else:

    def _loaded() -> Iterator[str]:
        maps = Path("/proc/self/maps")
        if maps.exists():
            lines = maps.read_text(encoding="utf-8").splitlines()
            yield from dict.fromkeys(line.split(maxsplit=5)[-1] for line in lines)

    def _open(path: str) -> ctypes.CDLL:
        return ctypes.CDLL(path)
