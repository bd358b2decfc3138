"""The commands of the hand-over: keys, send, receive, and what waits for a choice."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from battery.commands.common import (
    Home,
    Progress,
    by_meant,
    now,
    now_utc,
    open_store,
    say_unreadable,
)
from battery.errors import UsageError

Folder = Annotated[Path, typer.Argument(help="The stick, shared or synchronised folder.")]


def keys(
    side: Annotated[
        str,
        typer.Argument(help="clinic, tablet, show; drop for a lost tablet, at the clinic."),
    ],
    folder: Annotated[
        Path | None, typer.Argument(help="The folder both sides see, such as a stick.")
    ] = None,
    fingerprint: Annotated[
        list[str] | None,
        typer.Option(help="Of the clinic's key, read off its screen; of a tablet to drop."),
    ] = None,
    spare: Annotated[
        Path | None,
        typer.Option(help="At the clinic: a file for a second key, to be kept elsewhere."),
    ] = None,
    by: Annotated[str, typer.Option(help="Who drops a tablet, in initials or a role.")] = "",
    home: Home = None,
) -> None:
    """Set up the hand-over: once at the clinic, then once on each tablet.

    At the clinic: battery keys clinic STICK
    On the tablet: battery keys tablet STICK --fingerprint "1a2b 3c4d 5e6f 7a8b"
    """
    from battery.handover import drop_tablet, show_keys

    if side not in ("clinic", "tablet", "show", "drop"):
        msg = f"no side {side!r}; say clinic, tablet, show or drop"
        raise UsageError(msg)
    if side == "drop":
        if not fingerprint:
            msg = "which tablet? Say --fingerprint, as 'battery keys show' lists it"
            raise UsageError(msg)
        who = by_meant(by)
        with open_store(home) as store:
            for mark in fingerprint or []:
                drop_tablet(store, mark, author=who, at_utc=now_utc())
                print(f"tablet {mark} is no longer accepted; what it sent before stays")
        return
    if side == "show":
        with open_store(home, write=False) as store:
            print("\n".join(show_keys(store)))
        return
    if folder is None:
        msg = f"which folder? Say: battery keys {side} FOLDER"
        raise UsageError(msg)
    if side == "clinic":
        _clinic(folder, spare, home)
    else:
        _tablet(folder, fingerprint or [], home)


def _clinic(folder: Path, spare: Path | None, home: str | None) -> None:
    from battery.handover import make_clinic_keys

    with open_store(home) as store:
        mark = make_clinic_keys(store, folder, spare=spare)
    print(f"clinic key {mark}" if spare is None else f"spare key {mark}")
    if spare is not None:
        print(f"Its secret half is '{spare}'. Keep it apart from this computer.")
    print(f"Next, on each tablet: battery keys tablet FOLDER --fingerprint '{mark}'")


def _tablet(folder: Path, compared: list[str], home: str | None) -> None:
    from battery.handover import make_tablet_keys
    from battery.handover.keys import found_cards

    with open_store(home) as store:
        mark = make_tablet_keys(store, found_cards(folder), compared)
    print(f"tablet key {mark}")
    print(
        "The clinic compares it when the first bundle arrives. Next: battery send --to FOLDER"
    )


def card(
    code: Annotated[str | None, typer.Argument(help="The person's code.")] = None,
    to: Annotated[
        Path | None, typer.Option("--to", help="At the clinic: the stick to put it on.")
    ] = None,
    take: Annotated[
        Path | None, typer.Option("--from", help="On the tablet: the stick it is on.")
    ] = None,
    home: Home = None,
) -> None:
    """Put a person's card on a stick, or enrol from it on a tablet.

    It holds code, picture, hands, plans, language and comfort, and no name.
    At the clinic: battery card K7QF --to STICK
    On the tablet: battery card K7QF --from STICK
    """
    from battery.handover import person_cards, take_person_card, write_person_card

    if (to is None) == (take is None):
        msg = "say either --to FOLDER at the clinic or --from FOLDER on the tablet"
        raise UsageError(msg)
    with open_store(home) as store:
        if to is not None:
            if code is None:
                msg = "whose card? Say: battery card CODE --to FOLDER"
                raise UsageError(msg)
            print(write_person_card(store, code.upper(), to, now=now()))
            return
        cards, problems = person_cards(store, take or Path())
        for line in problems:
            print(line)
        wanted = [c for c in cards if code is None or c.code == code.upper()]
        if not wanted:
            msg = f"'{take}' holds no card of {code or 'anybody'}; nothing was changed"
            raise UsageError(msg)
        for found in wanted:
            for line in take_person_card(store, found) or [f"{found.code}: nothing new"]:
                print(line)


def send(
    to: Annotated[Path, typer.Option(help="The stick, shared or synchronised folder.")],
    home: Home = None,
) -> None:
    """Write every visit that the clinic has not acknowledged into a folder, signed and sealed.

    Safe to repeat; nothing is deleted here. Example: battery send --to STICK
    """
    from battery.handover import send as hand_over

    with open_store(home) as store:
        report = hand_over(store, to, wall=now)
    print("\n".join(report.lines()))
    if report.unsent:
        raise typer.Exit(1)


def receive(
    folder: Folder,
    key: Annotated[
        Path | None, typer.Option(help="File of the clinic's spare key, if the first is lost.")
    ] = None,
    home: Home = None,
) -> None:
    """Take in the bundles of a folder and leave receipts there. Safe to repeat.

    Example: battery receive STICK
    """
    from battery.handover import receive as take_in
    from battery.handover import waiting_alarms, waiting_lines

    with open_store(home) as store, Progress("receiving") as step:
        report = take_in(store, folder, wall=now, spare=key, progress=step)
        alarms = waiting_lines(waiting_alarms(store))
        unread = store.unreadable()
    print("\n".join([*report.lines(), *(f"ALARM {line}" for line in alarms), *unread]))
    if report.refused or unread:
        raise typer.Exit(1)


def quarantine(
    action: Annotated[
        str, typer.Argument(help="list, take (it holds) or leave (it stays aside).")
    ] = "list",
    item: Annotated[
        str, typer.Argument(help="The item, by the letters it is listed with.")
    ] = "",
    by: Annotated[str, typer.Option(help="Who chooses, in initials or a role.")] = "",
    reason: Annotated[str, typer.Option(help="Why.")] = "",
    home: Home = None,
) -> None:
    """List what arrived and waits for a person's choice, and choose.

    Example: battery quarantine take 3f2a --by AB --reason "compared the tablet's key"
    """
    from battery.handover import (
        leave_out,
        list_waiting,
        take,
        waiting_alarms,
        waiting_lines,
    )

    if action not in ("list", "take", "leave"):
        msg = f"no choice {action!r}; say list, take or leave"
        raise UsageError(msg)
    if action == "list":
        with open_store(home, write=False) as store:
            alarms = [f"ALARM {line}" for line in waiting_lines(waiting_alarms(store))]
            lines = [*alarms, *list_waiting(store)]
            print("\n".join(lines) if lines else "nothing waits")
            say_unreadable(store)
        return
    choose = take if action == "take" else leave_out
    with open_store(home) as store:
        for line in choose(store, item, author=by, why=reason, wall=now):
            print(line)


COMMANDS = (keys, card, send, receive, quarantine)
