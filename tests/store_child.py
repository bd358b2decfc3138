"""A program that records into a store and is killed by the tests, or ends itself half-way.

Run as ``python -m tests.store_child``. It imports everything once and then, for every line on
its standard input, makes a copy of itself that does what the line says:

``record HOME``
    records visits until killed, with simulated time, and says how far it is;
``record HOME N``
    ends itself, as a kill would, before or after the N-th statement to the database;
``read HOME``
    reads the store without the right to write anything in its folder.

When the copy is gone it says ``gone``.
"""

import itertools
import os
import signal
import sys

import sqlalchemy

from battery.errors import BatteryError
from battery.store import Store
from tests import store_kit as kit

NOBODY = 65534
PUTS = 6


def say(*words):
    """One write, so that a kill never leaves half a line."""
    os.write(1, (" ".join(str(word) for word in words) + "\n").encode())


def record(home, last_statement=None):
    passed = end_at(last_statement) if last_statement is not None else []
    with Store.open(home) as store, store.records.lock():
        store.records.recover()
        if not store.people.all():
            kit.enrol(store)
        first = 1 + len(store.visits.all())
        for sequence in itertools.count(first):
            visit = kit.visit(sequence=sequence, started_utc="2026-01-05T09:00:00+00:00")
            store.visits.begin(visit)
            for index in range(2):
                record_block(store, kit.block_header(visit, index))
            if last_statement is not None and sequence == first:
                say("all", len(passed))
                return


def record_block(store, header):
    """Half a second of samples at a time; the next is made when the last is on disk."""
    say("begun", header.block_id)
    sink = store.records.begin(header)
    block = kit.made_up_block(header, header.index)
    n_samples, n_frames = len(block.samples) // PUTS, len(block.frames) // PUTS
    for part in range(PUTS):
        samples = block.samples[part * n_samples : (part + 1) * n_samples]
        say("read", header.block_id, samples["t_ns"][-1])
        sink.put(samples, block.frames[part * n_frames : (part + 1) * n_frames], [])
        sink.flush()
        say("kept", header.block_id, samples["t_ns"][-1])
    say("ended", header.block_id, block.sha256)
    sink.close(block)
    say("whole", header.block_id, block.sha256)


def end_at(last_statement):
    """Kill this process around its n-th statement: before, after, and around commits.

    Returns a list that has grown by one at each.
    """
    passed = []

    def step(*_):
        passed.append(1)
        if len(passed) == last_statement:
            os.kill(os.getpid(), signal.SIGKILL)

    for moment in ("before_cursor_execute", "after_cursor_execute", "commit"):
        sqlalchemy.event.listen(sqlalchemy.Engine, moment, step)
    return passed


def read(home):
    if os.getuid() == 0:
        os.setgroups([])
        os.setgid(NOBODY)
        os.setuid(NOBODY)
    with Store.open(home, write=False) as store:
        visits = store.visits.all()
        for visit in visits:
            for block in store.records.of_visit(visit.header.visit_id):
                if block.ending is not None:
                    whole = store.records.load(block.header.block_id)
                    say("block", block.header.block_id, whole.sha256)
                else:
                    say("open", block.header.block_id)
    with open(os.path.join(home, "probe"), "w"):  # noqa: PTH118, PTH123  # must not work
        say("writable")


def main():
    for line in sys.stdin:
        task, home, *rest = line.split()
        child = os.fork()
        if child == 0:
            try:
                {"record": record, "read": read}[task](home, *map(int, rest))
            except BatteryError as error:
                say("refused", error)
            except PermissionError:
                say("protected")
            finally:
                os._exit(0)
        say("child", child)
        os.waitpid(child, 0)
        say("gone")


if __name__ == "__main__":
    main()
