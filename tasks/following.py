"""Which pointer a task follows: the first that pressed, until it lets go.

Shared by all tasks so that a palm or a second finger is told apart in one way.
"""

from __future__ import annotations

from tasks.contract import Contact, Event


def is_extra(followed: int | None, contact: Contact) -> bool:
    """Whether the contact comes from a pointer other than the one that is followed."""
    return followed is not None and contact.pointer != followed


def extra_event(contact: Contact, trial: int) -> Event:
    """Report a second pointer that pressed while another was in contact."""
    return Event(contact.t_ns, "extra", trial, "", contact.x_mm, contact.y_mm)
