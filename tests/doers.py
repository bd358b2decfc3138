"""Streams of contacts for tests of tasks: some that really do a task, some that only aim.

A `Doer` knows only the marks, as a person does. It has tremor, its finger bounces and loses
contact, its palm comes down, it goes to wrong places. `aimed` turns any list of small choices
into contacts at places and moments that matter: centres and rims of what is to be seen, the
moment something falls due, one nanosecond before and after it.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from hypothesis import strategies as st

from tasks.contract import (
    NS_PER_MS,
    NS_PER_S,
    AnyTask,
    Contact,
    ContactKind,
    Disc,
    Event,
    Line,
    Mark,
    Signal,
    Tick,
)

PALM = 7
Goal = tuple[float, float, bool]  # where to, and whether in contact


def play(task: AnyTask, settings: Any, signals: Sequence[Signal]) -> list[Event]:
    """Feed signals to a task and collect what it decides."""
    state = task.start(settings)
    events: list[Event] = []
    for signal in signals:
        state, new = task.advance(settings, state, signal)
        events.extend(new)
    return events


@dataclass(frozen=True)
class Manner:
    """How a doer does a task; chances are per report."""

    tremor_mm: float = 0.5
    bounce: float = 0.01
    lose: float = 0.005
    stray: float = 0.02
    palm: float = 0.01
    impatient: float = 0.01  # lifts where it should hold
    palm_first: bool = False


CALM = Manner(0.1, 0, 0, 0, 0, 0)
SHAKY = Manner()


class Doer:
    """Does one block, about fifty reports a second, and keeps its contacts."""

    def __init__(self, task: AnyTask, settings: Any, seed: int, manner: Manner = SHAKY) -> None:
        self.task, self.settings, self.manner = task, settings, manner
        self.chance = random.Random(seed)
        self.contacts: list[Contact] = []
        self.state = task.start(settings)
        self.t_ns = 0
        self.x_mm = self.y_mm = 0.0
        self.down = self.palm = self.backwards = False
        self.astray: tuple[int, Goal] = (0, (0.0, 0.0, True))

    def do(self, limit_s: float = 200.0) -> list[Contact]:
        """Return the contacts of a block done to its end, or to the limit."""
        if self.manner.palm_first:
            self._rest_palm()
        while not self.task.finished(self.state) and self.t_ns < limit_s * NS_PER_S:
            self._pass_ms(15, 25)
            marks = self.task.view(self.settings, self.state, self.t_ns)
            self._step(self._goal(marks))
        return self.contacts

    def _goal(self, marks: Sequence[Mark]) -> Goal | None:
        steps, where = self.astray
        if steps > 0:
            self.astray = (steps - 1, where)
            return where
        if self.chance.random() < self.manner.stray:
            discs = [m for m in marks if isinstance(m, Disc)]
            if discs:
                wrong = self.chance.choice(discs)
                steps = self.chance.choice((4, 6, 9, 25))  # passes by, or stays
                self.astray = (steps, (wrong.x_mm, wrong.y_mm, self.down))
        return GOALS.get(self.task.name, _go_to_go)(self, marks)

    def _step(self, goal: Goal | None) -> None:
        if self.palm and self.chance.random() < 0.1:
            self._lift_palm()
        elif not self.palm and self.chance.random() < self.manner.palm:
            self._rest_palm()
        if goal is None:
            self._move()
            return
        x_mm, y_mm, press = goal
        self.x_mm += 0.5 * (x_mm - self.x_mm)
        self.y_mm += 0.5 * (y_mm - self.y_mm)
        if not self.down:
            near = abs(x_mm - self.x_mm) + abs(y_mm - self.y_mm) < 3
            self._send("down" if press and near else "hover")
        elif not press or self.chance.random() < self.manner.impatient:
            self._send("up")
        elif self.chance.random() < self.manner.bounce:
            self._send("up")
            self._pass_ms(5, 100)
            self._send("down")
        elif self.chance.random() < self.manner.lose:
            self._send("up")
            self._pass_ms(150, 400)
        else:
            self._move()

    def _move(self) -> None:
        self._send("move" if self.down else "hover")

    def _send(self, kind: ContactKind) -> None:
        self.down = kind in ("down", "move")
        shake = self.manner.tremor_mm
        x_mm = self.x_mm + self.chance.gauss(0, shake)
        y_mm = self.y_mm + self.chance.gauss(0, shake)
        self._tell(Contact(self.t_ns, kind, x_mm, y_mm, 1))

    def _rest_palm(self) -> None:
        self.palm = True
        self._tell(Contact(self.t_ns, "down", 60.0, -46.0, PALM))

    def _lift_palm(self) -> None:
        self.palm = False
        self._tell(Contact(self.t_ns, "up", 60.0, -46.0, PALM))

    def _tell(self, contact: Contact) -> None:
        self.contacts.append(contact)
        self.state, _ = self.task.advance(self.settings, self.state, contact)

    def _pass_ms(self, least: int, most: int) -> None:
        self.t_ns += self.chance.randrange(least * NS_PER_MS, most * NS_PER_MS)


def _disc(marks: Sequence[Mark], *roles: str) -> Disc | None:
    return next((m for m in marks if isinstance(m, Disc) and m.role in roles), None)


def _touch(doer: Doer, disc: Disc) -> Goal:
    """Go to a disc through the air and press there."""
    far = abs(disc.x_mm - doer.x_mm) + abs(disc.y_mm - doer.y_mm) > 8
    return (disc.x_mm, disc.y_mm, not (doer.down and far))


def _go_to_go(doer: Doer, marks: Sequence[Mark]) -> Goal | None:
    disc = _disc(marks, "go", "home", "held")
    return (disc.x_mm, disc.y_mm, True) if disc else None


def _tap(doer: Doer, marks: Sequence[Mark]) -> Goal | None:
    """Press home when it asks; lift from it and touch the target on go."""
    asks = _disc(marks, "go") or _disc(marks, "home")
    if asks is not None:
        return _touch(doer, asks)
    held = _disc(marks, "held")
    return (held.x_mm, held.y_mm, True) if held else None


def _slide(doer: Doer, marks: Sequence[Mark]) -> Goal | None:
    """Touch what asks; take the chip out and, from some point on, back."""
    asks, held = _disc(marks, "go"), _disc(marks, "held")
    if held is None:
        doer.backwards = False
        return _touch(doer, asks) if asks else None
    track = next(m for m in marks if isinstance(m, Line))
    (start_mm, y_mm), (end_mm, _) = track.points_mm[0], track.points_mm[-1]
    share = abs(held.x_mm - start_mm) / abs(end_mm - start_mm)
    doer.backwards = doer.backwards or share > 0.8 or doer.chance.random() < 0.05
    return (start_mm if doer.backwards else end_mm, y_mm, True)


def _pursue(doer: Doer, marks: Sequence[Mark]) -> Goal | None:
    chip = _disc(marks, "go", "held", "chip")
    return (chip.x_mm, chip.y_mm, True) if chip else None


def _connect(doer: Doer, marks: Sequence[Mark]) -> Goal | None:
    """Nodes are listed in their order: the next is the first that is not done."""
    first, chip = _disc(marks, "go"), _disc(marks, "chip")
    if first is not None:
        return _touch(doer, first)
    if chip is not None:  # lost: take it up again
        return (chip.x_mm, chip.y_mm, not doer.down)
    node = _disc(marks, "target", "wrong")
    return (node.x_mm, node.y_mm, True) if node else None


GOALS: dict[str, Callable[[Doer, Sequence[Mark]], Goal | None]] = {
    "tapping": _tap,
    "slide": _slide,
    "pursuit": _pursue,
    "trail": _connect,
}

# Steps of time: bounce and dwell times and their neighbours, and some long ones. "due" is the
# moment at which something happens by itself.
STEPS_NS = (
    *(0, 1, 5 * NS_PER_MS, 40 * NS_PER_MS, 90 * NS_PER_MS),
    *(80 * NS_PER_MS - 1, 80 * NS_PER_MS, 150 * NS_PER_MS - 1, 150 * NS_PER_MS),
    *(NS_PER_S // 2, 2 * NS_PER_S, 11 * NS_PER_S),
)
KINDS: tuple[ContactKind, ...] = ("down", "move", "up", "down", "move", "up", "hover")
POINTERS = (1, 1, 1, 1, 1, 2, 0)

CHOICES = st.lists(
    st.tuples(
        st.one_of(st.sampled_from(STEPS_NS), st.sampled_from(["due-1", "due", "due+1"])),
        st.sampled_from(KINDS),
        st.sampled_from(POINTERS),
        st.integers(0, 20),  # which mark
        st.sampled_from([0.0, 0.0, 0.5, 1.0, -1.0, 1.4]),  # how far off, in radii
        st.sampled_from([(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0)]),
    ),
    min_size=1,
    max_size=40,
)
ANYTHING = st.lists(
    st.tuples(
        st.integers(0, 3 * NS_PER_S),
        st.sampled_from(KINDS),
        st.sampled_from(POINTERS),
        st.floats(-100, 100),
        st.floats(-100, 100),
    ),
    min_size=1,
    max_size=25,
)


def anywhere(choices: Sequence[tuple[Any, ...]]) -> list[Contact]:
    """Contacts of any kind at any place, in the order of time."""
    t_ns, contacts = 0, []
    for step_ns, kind, pointer, x_mm, y_mm in choices:
        t_ns += step_ns
        contacts.append(Contact(t_ns, kind, x_mm, y_mm, pointer))
    return contacts


def aimed(task: AnyTask, settings: Any, choices: Sequence[tuple[Any, ...]]) -> list[Contact]:
    """Turn choices into contacts at what is to be seen and when something is due."""
    state, t_ns = task.start(settings), 0
    contacts: list[Contact] = []
    for step, kind, pointer, which, off, (dx, dy) in choices:
        t_ns = _after(task, settings, state, t_ns, step)
        state, _ = task.advance(settings, state, Tick(t_ns))
        discs = [m for m in task.view(settings, state, t_ns) if isinstance(m, Disc)]
        if not discs:
            break
        disc = discs[which % len(discs)]
        x_mm, y_mm = disc.x_mm + off * disc.r_mm * dx, disc.y_mm + off * disc.r_mm * dy
        contacts.append(Contact(t_ns, kind, x_mm, y_mm, pointer))
        state, _ = task.advance(settings, state, contacts[-1])
    return contacts or [Contact(0, "hover", 0.0, 0.0, 0)]


def _after(task: AnyTask, settings: Any, state: Any, t_ns: int, step: int | str) -> int:
    if isinstance(step, int):
        return t_ns + step
    _, coming = task.advance(settings, state, Tick(t_ns + 1000 * NS_PER_S))
    due_ns = next((e.t_ns for e in coming if e.t_ns > t_ns), t_ns)
    return max(t_ns, due_ns + {"due-1": -1, "due": 0, "due+1": 1}[step])


def with_ticks(contacts: Sequence[Contact], every_ns: int, until_ns: int) -> list[Signal]:
    """Merge contacts with ticks at a frame rate."""
    ticks: list[Signal] = [Tick(t) for t in range(every_ns, until_ns + 1, every_ns)]
    return sorted([*contacts, *ticks], key=lambda s: s.t_ns)


def with_nasty_ticks(
    contacts: Sequence[Contact], events: Sequence[Event], seed: int, until_ns: int
) -> list[Signal]:
    """Merge contacts with ticks at the worst moments.

    Just before, at and after contacts and events; on either side of a contact of the same
    stamp; and anywhere else.
    """
    chance = random.Random(seed)
    stamps = [s.t_ns for s in (*contacts, *events)]
    times = [chance.choice(stamps) + chance.choice((-1, 0, 0, 1)) for _ in range(30)]
    times += [chance.randrange(until_ns) for _ in range(10)]
    keyed: list[tuple[int, float, Signal]] = [(c.t_ns, 0.5, c) for c in contacts]
    keyed += [(t, chance.choice((0.0, 1.0)), Tick(t)) for t in times if 0 <= t <= until_ns]
    return [signal for _, _, signal in sorted(keyed, key=lambda k: k[:2])]
