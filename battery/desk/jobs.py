"""What takes longer than a page: done in a thread, with how far it is, and a way to stop it."""

from __future__ import annotations

import logging
import secrets
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from battery.errors import BatteryError

LOG = logging.getLogger(__name__)
Step = Callable[[int, int], None]


class Stopped(Exception):  # noqa: N818  # not an error: somebody stopped it
    """Somebody stopped the work."""


@dataclass
class Job:
    """A piece of work.

    Attributes
    ----------
    done, total : int
        How far it is; `total` is 0 while nobody knows.
    lines : sequence of str
        What came out; set at the end.
    error : str
        Why it went wrong; empty where it did not.
    running : bool
    """

    title: str
    name: str = field(default_factory=lambda: secrets.token_urlsafe(9))
    done: int = 0
    total: int = 0
    lines: Sequence[str] = ()
    error: str = ""
    running: bool = True
    _stop: threading.Event = field(default_factory=threading.Event, repr=False)

    def step(self, done: int, total: int) -> None:
        """Note how far it is.

        Raises
        ------
        Stopped
            If somebody wants it to end; what was made so far is taken away by who made it.
        """
        self.done, self.total = done, total
        if self._stop.is_set():
            raise Stopped

    def stop(self) -> None:
        """End it at its next step."""
        self._stop.set()


class Jobs:
    """The work of one desk; gone with it, as nothing half-made stays."""

    def __init__(self) -> None:
        self._held: dict[str, Job] = {}

    def start(self, title: str, work: Callable[[Step], Sequence[str]]) -> Job:
        """Begin something in a thread of its own and return it.

        Parameters
        ----------
        title : str
        work : callable
            Gets a function to call with (done, total) and returns lines that say what came out.
        """
        job = Job(title)
        self._held[job.name] = job
        threading.Thread(target=_run, args=(job, work), name=title, daemon=True).start()
        return job

    def get(self, name: str) -> Job | None:
        """Return a piece of work by its name."""
        return self._held.get(name)


def _run(job: Job, work: Callable[[Step], Sequence[str]]) -> None:
    try:
        job.lines = work(job.step)
    except Stopped:
        job.error = "stopped; nothing of it was put in place"
    except BatteryError as error:
        job.error = str(error)
    except Exception:  # a thread's end must reach the page in any case
        LOG.exception("work at the desk failed")
        job.error = "it went wrong; what is stored is safe, and nothing was put in place"
    finally:
        job.running = False
