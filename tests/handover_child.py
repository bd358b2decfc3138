"""A program that exports, sends, receives or backs up, and is killed half-way by the tests.

Run as ``python -m tests.handover_child``. It imports everything once. For every line
``MILLISECONDS WORD PATH...`` on its standard input it makes a copy of itself that does what the
word says, kills that copy (-9) when the time is over, if it still runs, and answers with
``killed`` or ``ended`` and the milliseconds it took.
"""

import os
import signal
import sys
import time

from battery.errors import BatteryError
from battery.export import export_tidy
from battery.handover import receive, send
from battery.store import Store
from tests import handover_kit as hand
from tests.export_kit import EVERYBODY


def do(word, first, second):
    with Store.open(first, write=word in ("send", "receive")) as store:
        if word == "export":
            export_tidy(store, second, selection=EVERYBODY)
        elif word == "backup":
            store.back_up(second)
        elif word == "send":
            send(store, second, wall=hand.wall)
        elif word == "receive":
            receive(store, second, wall=hand.wall)


def main():
    from pathlib import Path

    # The end of a copy is waited for as a signal, with a limit, so nothing ever sleeps.
    signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGCHLD})
    for line in sys.stdin:
        limit_ms, word, first, second = line.split()
        begun = time.monotonic()
        child = os.fork()
        if child == 0:
            try:
                do(word, Path(first), Path(second))
            except BatteryError as error:
                os.write(2, f"{error}\n".encode())
                os._exit(3)
            os._exit(0)
        ended = signal.sigtimedwait({signal.SIGCHLD}, float(limit_ms) / 1000)
        if ended is None:
            os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        if ended is None:
            signal.sigtimedwait({signal.SIGCHLD}, 0)
        took_ms = (time.monotonic() - begun) * 1000
        killed = os.WIFSIGNALED(status)
        how = "killed" if killed else "ended" if status == 0 else "failed"
        os.write(1, f"{how} {took_ms:.1f}\n".encode())


if __name__ == "__main__":
    main()
