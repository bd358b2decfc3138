"""How much memory processes take while they work."""

import threading

import psutil


class Watch:
    """Most memory that any process below this one had, MB."""

    def __enter__(self):
        self.peak_mb, self._end = 0.0, threading.Event()
        self._thread = threading.Thread(target=self._look, daemon=True)
        self._thread.start()
        return self

    def _look(self):
        while not self._end.wait(0.2):
            for child in psutil.Process().children(recursive=True):
                try:
                    self.peak_mb = max(self.peak_mb, child.memory_info().rss / 1e6)
                except psutil.Error:
                    continue

    def __exit__(self, *_):
        self._end.set()
        self._thread.join()
