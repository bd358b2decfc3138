"""Which pointer a task follows: the first whose press was of use, until it lets go.

Shared by all tasks, so that a palm or a second finger is told apart in one way. A hand that
rests on the glass before the block begins is not followed, so it does not lock out the finger
that does the task; whatever comes down while another pointer is on the glass is reported.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from tasks.contract import Contact, Event

Meaning = Literal[
    "press",  # a pointer came down and nobody is followed; the task says whether to follow it
    "drag",  # the followed pointer moved
    "lift",  # the followed pointer let go
    "nothing",  # hover, and whatever other pointers do
]


@dataclass(frozen=True, slots=True)
class Pointers:
    """Pointers on the glass, and the one of them that is followed."""

    on_glass: frozenset[int] = frozenset()
    followed: int | None = None

    def follow(self, contact: Contact) -> Pointers:
        """Follow the pointer of this contact from now on."""
        return Pointers(self.on_glass, contact.pointer)

    def free(self) -> Pointers:
        """Follow nobody."""
        return Pointers(self.on_glass)


def heed(
    pointers: Pointers, contact: Contact, trial: int, events: list[Event]
) -> tuple[Pointers, Meaning]:
    """Keep account of the pointers and say what a contact means to the task.

    Appends `extra` to `events` for a press while another pointer is on the glass. A lift that
    was never pressed, and a second press of the followed pointer without a lift between, mean
    nothing.
    """
    number = contact.pointer
    if contact.kind == "down":
        if pointers.on_glass - {number}:
            events.append(Event(contact.t_ns, "extra", trial, "", contact.x_mm, contact.y_mm))
        down = Pointers(pointers.on_glass | {number}, pointers.followed)
        return down, "press" if pointers.followed is None else "nothing"
    if contact.kind == "up":
        left = pointers.on_glass - {number}
        if pointers.followed == number:
            return Pointers(left), "lift"
        return Pointers(left, pointers.followed), "nothing"
    moved = contact.kind == "move" and pointers.followed == number
    return pointers, "drag" if moved else "nothing"
