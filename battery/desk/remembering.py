"""What was read from the store and judged, kept until the store changes."""

from __future__ import annotations

import gc
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from typing import Any, TypeVar

T = TypeVar("T")
MAX_HELD = 24  # lists and pages; a page of a year takes about half a megabyte


class Remembered:
    """Keeps what was made, each with the sign of the store it was made from.

    Parameters
    ----------
    sign : callable
        Returns the store's sign of change, or None where it cannot be told; nothing is kept
        then.
    """

    def __init__(self, sign: Callable[[], Hashable | None]) -> None:
        self._sign = sign
        self._lock = threading.Lock()
        self._held: OrderedDict[Hashable, tuple[Hashable, Any]] = OrderedDict()
        self._making: dict[Hashable, threading.Lock] = {}

    def get(self, name: Hashable, make: Callable[[], T]) -> T:
        """Return what is kept under a name if the store is as it was, else make it anew.

        Parameters
        ----------
        name : hashable
            Everything that it is made from beside the store.
        make : callable
            Reads the store and judges; what it returns must not be changed by anybody.
        """
        with self._lock:
            making = self._making.setdefault(name, threading.Lock())
        with making:  # whoever asks for the same meanwhile waits for it
            sign = self._sign()  # before reading, so that no change is missed
            with self._lock:
                held = self._held.get(name)
                if held is not None and sign is not None and held[0] == sign:
                    self._held.move_to_end(name)
                    return held[1]  # type: ignore[no-any-return]  # made under this name
            with _uncollected():
                made = make()
            if sign is not None:
                with self._lock:
                    self._held[name] = (sign, made)
                    self._held.move_to_end(name)
                    while len(self._held) > MAX_HELD:
                        self._making.pop(self._held.popitem(last=False)[0], None)
            return made


@contextmanager
def _uncollected() -> Iterator[None]:
    """Look for no cycles while something large is made; that alone costs a sixth of it."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()
