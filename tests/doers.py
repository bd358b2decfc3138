"""Streams of contacts for tests: random ones, and ones that really do a task."""

from __future__ import annotations

import random

from tasks.contract import NS_PER_MS, AnyTask, Contact, Disc, Event, Line, Signal, Tick


def play(task: AnyTask, settings, signals: list[Signal]) -> list[Event]:
    """Feed signals to a task and collect what it decides."""
    state = task.start(settings)
    events: list[Event] = []
    for signal in signals:
        state, new = task.advance(settings, state, signal)
        events.extend(new)
    return events


def done_block(task: AnyTask, settings, seed: int, *, limit_s: float = 200.0) -> list[Contact]:
    """Do a block at 100 reports a second by aiming at what is seen, with tremor and bounces.

    Knows only the marks, as a person does; returns the contacts it made.
    """
    chance = random.Random(seed)
    state = task.start(settings)
    contacts: list[Contact] = []
    x = y = 0.0
    down = False
    t_ns = 0
    phase = 0

    def send(kind: str) -> None:
        nonlocal state
        contact = Contact(t_ns, kind, x + chance.gauss(0, 0.4), y + chance.gauss(0, 0.4), 1)
        contacts.append(contact)
        state, _ = task.advance(settings, state, contact)

    while not task.finished(state) and t_ns < limit_s * 1e9:
        t_ns += 10 * NS_PER_MS + chance.randrange(3 * NS_PER_MS)
        goal = _goal(task.name, settings, task.view(settings, state, t_ns), down, chance)
        phase += 1
        if goal is None:
            if down:
                send("move")
            continue
        gx, gy, press = goal
        x, y = x + 0.45 * (gx - x), y + 0.45 * (gy - y)
        near = abs(gx - x) + abs(gy - y) < 4
        if down and not press:
            send("up")
            down = False
        elif down:
            if chance.random() < 0.004:  # a bounce
                send("up")
                t_ns += 30 * NS_PER_MS
                send("down")
            send("move")
        elif press and near:
            send("down")
            down = True
        if chance.random() < 0.003:  # a palm
            contacts.append(Contact(t_ns, "down", 60.0, -40.0, 7))
            state, _ = task.advance(settings, state, contacts[-1])
            contacts.append(Contact(t_ns, "up", 60.0, -40.0, 7))
            state, _ = task.advance(settings, state, contacts[-1])
    return contacts


def _goal(name, settings, marks, down, chance):
    discs = {m.role: m for m in reversed(marks) if isinstance(m, Disc)}
    if name == "tapping":
        if "go" in discs:
            on_home = down and "idle" in discs
            return (discs["go"].x_mm, discs["go"].y_mm, not on_home)
        if "home" in discs:
            return (discs["home"].x_mm, discs["home"].y_mm, True)
        return None
    if name == "slide":
        if "held" in discs:
            track = next(m for m in marks if isinstance(m, Line))
            (x0, y0), (x1, _) = track.points_mm
            far = abs(discs["held"].x_mm - x0) > 0.6 * abs(x1 - x0) or chance.random() < 0.01
            _slide_back[id(settings)] = far or _slide_back.get(id(settings), False)
            if _slide_back[id(settings)]:
                return (x0, y0, True)
            return (x1, y0, True)
        _slide_back[id(settings)] = False
        if "go" in discs:
            return (discs["go"].x_mm, discs["go"].y_mm, not down)
        return None
    if name == "pursuit":
        chip = discs.get("go") or discs.get("held") or discs.get("chip")
        return (chip.x_mm, chip.y_mm, True) if chip else None
    labelled = [m for m in marks if isinstance(m, Disc) and m.label]
    done = sum(m.role == "done" for m in labelled)
    form = next(f for f in settings.forms if f.labels == tuple(m.label for m in labelled)
                and f.nodes_mm[0] == (labelled[0].x_mm, labelled[0].y_mm))  # fmt: skip
    if done == 0:
        return (*form.nodes_mm[0], not down)
    if chance.random() < 0.01:
        return (*chance.choice(form.nodes_mm), True)
    return (*form.nodes_mm[min(done, len(form.nodes_mm) - 1)], True)


_slide_back: dict[int, bool] = {}


def with_ticks(contacts: list[Contact], every_ns: int, until_ns: int) -> list[Signal]:
    """Merge contacts with ticks at a frame rate."""
    ticks: list[Signal] = [Tick(t) for t in range(every_ns, until_ns + 1, every_ns)]
    return sorted([*contacts, *ticks], key=lambda s: s.t_ns)
