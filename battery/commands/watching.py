"""The commands for what must not be overlooked: alarms, who is due, what was asked first."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from battery.commands.common import Home, by_meant, day_meant, now, now_utc, open_store
from battery.errors import UsageError

if TYPE_CHECKING:
    from battery.store import Store

Code = Annotated[str, typer.Argument(help="The person's code.")]
Author = Annotated[str, typer.Option("--by", help="Who says so, in initials or a role.")]
Present = Annotated[
    list[str] | None,
    typer.Option(
        "--present",
        help="What applies or is not known: neck, surgery, acute, seizures, pressure, arm, "
        "pain, consent. May be given several times.",
    ),
]


def acknowledge(
    code: Code,
    numbers: Annotated[
        list[int] | None, typer.Argument(help="Which alarms, as listed. Without: list them.")
    ] = None,
    by: Annotated[str, typer.Option(help="Who has seen them, in initials or a role.")] = "",
    note: Annotated[str, typer.Option(help="What was done, in a few words.")] = "",
    every: Annotated[bool, typer.Option("--all", help="All that are open.")] = False,
    home: Home = None,
) -> None:
    """List a person's alarms, or say that you have seen them; until then they stand first.

    Example: battery acknowledge K7QF, then
    battery acknowledge K7QF 1 --by AB --note "called, seen by the doctor"
    """
    from battery.alarms import alarms_of
    from battery.report.alarming import acknowledged_lines, alarm_lines

    writes = bool(numbers) or every
    with open_store(home, write=writes) as store:
        person = store.people.get(code.upper())
        found = alarms_of(store, person.code)
        waiting = [alarm for alarm in found if alarm.open]
        if not writes:
            for number, alarm in enumerate(waiting, start=1):
                print(f"{number}  {alarm_lines([alarm])[0]}")
            for line in acknowledged_lines(found):
                print(f"   {line}")
            if not found:
                print(f"{person.code}: no alarm")
            elif not waiting:
                print(f"{person.code}: every alarm is acknowledged")
            return
        wanted = range(1, len(waiting) + 1) if every else sorted(set(numbers or ()))
        wrong = [n for n in wanted if not 1 <= n <= len(waiting)]
        if wrong or not wanted:
            msg = (
                f"no open alarm {wrong[0] if wrong else 1}; {person.code} has {len(waiting)}. "
                "Nothing was stored"
            )
            raise UsageError(msg)
        for number in wanted:
            alarm = waiting[number - 1]
            store.annotations.acknowledge_alarm(
                person.code, alarm.key, author=by, note=note, at_utc=now_utc()
            )
            print(f"{person.code}: acknowledged by {by}: {alarm_lines([alarm])[0]}")


def state(
    code: Code,
    word: Annotated[
        str | None, typer.Argument(help="active, paused or discharged. Without: show it.")
    ] = None,
    by: Annotated[str, typer.Option(help="Who says so, in initials or a role.")] = "",
    reason: Annotated[str, typer.Option(help="Why.")] = "",
    on: Annotated[
        str | None, typer.Option("--on", help="Since which day. Default: today.")
    ] = None,
    home: Home = None,
) -> None:
    """Say whether a person is due for visits: active, paused or discharged.

    Nobody is due while paused or discharged; an alarm still comes first.
    Example: battery state K7QF paused --by AB --reason "in hospital"
    """
    today = now().date()
    with open_store(home, write=word is not None) as store:
        person = store.people.get(code.upper())
        if word is not None:
            day = today if on is None else day_meant(on, "stored")
            if day > today:
                msg = f"{day} is still to come; say it on that day. Nothing was stored"
                raise UsageError(msg)
            store.care.set_state(
                person.code, word, from_date=day, reason=reason, author=by, at_utc=now_utc()
            )
        said = store.care.states(person.code)
    if not said:
        print(f"{person.code}: active since enrolment")
    for row in said:
        print(f"{person.code}: {row.state} from {row.from_date}, by {row.author}: {row.reason}")


def contraindications(
    code: Code,
    present: Present = None,
    none: Annotated[bool, typer.Option("--none", help="All were asked; none applies.")] = False,
    by: Annotated[str, typer.Option(help="Who asked, in initials or a role.")] = "",
    home: Home = None,
) -> None:
    """Ask about reasons not to start, item by item, or show what was answered.

    What applies stands first on list and page until a clinician acknowledges it.
    Example: battery contraindications K7QF --none --by AB
    """
    from battery.cautions import CONTRAINDICATIONS

    if none and present:
        msg = "say either --none or --present; nothing was stored"
        raise UsageError(msg)
    asks = not (none or present) and bool(by) and sys.stdin.isatty()
    with open_store(home, write=none or bool(present) or asks) as store:
        person = store.people.get(code.upper())
        if none or present or asks:
            answers = asked(present or [], ask=asks)
            store.care.answer_contraindications(
                person.code, answers, author=by, at_utc=now_utc()
            )
        held = {row.item: row for row in store.care.contraindications(person.code)}
    if not held:
        print(f"{person.code}: nobody has asked yet; say --by and --none or --present ITEM")
    for name, words in CONTRAINDICATIONS.items():
        if name in held:
            row = held[name]
            print(f"{name}: {row.answer}, by {row.author} on {row.at_utc[:10]}  ({words})")
        elif held:
            print(f"{name}: not asked  ({words})")


def asked(present: list[str], *, ask: bool) -> list[tuple[str, Literal["yes", "no"]]]:
    """Return the whole checklist answered; `ask` goes through it on the terminal.

    Raises
    ------
    UsageError
        If an item is none of it.
    """
    from battery.cautions import CONTRAINDICATIONS

    unknown = [name for name in present if name not in CONTRAINDICATIONS]
    if unknown:
        msg = (
            f"no item {unknown[0]!r}; items are {', '.join(CONTRAINDICATIONS)}. "
            "Nothing was stored"
        )
        raise UsageError(msg)
    there = set(present)
    if ask:
        there |= {
            name
            for name, words in CONTRAINDICATIONS.items()
            if typer.confirm(f"Is there {words}?")
        }
    return [(name, "yes" if name in there else "no") for name in CONTRAINDICATIONS]


def limits(
    question: Annotated[
        str | None, typer.Argument(help="A question on 0 to 10. Without: show all limits.")
    ] = None,
    level: Annotated[int | None, typer.Argument(help="From which answer on, 1 to 10.")] = None,
    by: Annotated[str, typer.Option(help="Who says so, in initials or a role.")] = "",
    home: Home = None,
) -> None:
    """Show or set the answer of 0 to 10 from which a question is an alarm.

    The initial values are a judgement, not published limits; agree on them in your clinic.
    Example: battery limits pain 8 --by AB
    """
    from battery.alarms import DEFAULT_LIMITS, limits_of, set_limit
    from battery.clinic_changes import signed

    if (question is None) != (level is None):
        msg = "say a question and a level, or neither; nothing was stored"
        raise UsageError(msg)
    with open_store(home, write=question is not None) as store:
        if question is not None and level is not None:
            with signed(store, author=by_meant(by), at_utc=now_utc()):
                set_limit(store, question, level)
        held = limits_of(store)
    for name, limit in held.items():
        first = " (initial value: a judgement)" if limit == DEFAULT_LIMITS[name] else ""
        print(f"{name}: alarm from {limit} of 10{first}")


def take_back(
    code: Code,
    kind: Annotated[
        str | None, typer.Argument(help="event, goal or rating. Without: list them.")
    ] = None,
    number: Annotated[int | None, typer.Argument(help="Which one, as listed.")] = None,
    by: Annotated[str, typer.Option(help="Who says so, in initials or a role.")] = "",
    reason: Annotated[str, typer.Option(help="Why it is taken back.")] = "",
    home: Home = None,
) -> None:
    """Take back an event, a goal or a rating entered by mistake; it stays stored.

    Example: battery take-back K7QF event 2 --by AB --reason "another person's fall"
    """
    if (kind is None) != (number is None):
        msg = "say which: event, goal or rating, and its number; nothing was taken back"
        raise UsageError(msg)
    with open_store(home, write=kind is not None) as store:
        person = store.people.get(code.upper())
        listed = _takeable(store, person.code)
        gone = {row.target_id: row for row in store.annotations.taken_back(person.code)}
        if kind is None or number is None:
            for name, rows in listed.items():
                for place, (target, words) in enumerate(rows, start=1):
                    back = gone.get(target)
                    said = (
                        f"  (taken back by {back.author} on {back.at_utc[:10]}: {back.reason})"
                        if back
                        else ""
                    )
                    print(f"{name} {place}  {words}{said}")
            return
        rows = listed.get(kind, [])
        if not 1 <= number <= len(rows):
            msg = f"no {kind} {number}; 'battery take-back {person.code}' lists what there is"
            raise UsageError(msg)
        target, words = rows[number - 1]
        store.annotations.take_back(
            person.code,
            kind,  # type: ignore[arg-type]  # a key of what was listed
            target,
            reason=reason,
            author=by,
            at_utc=now_utc(),
        )
    print(f"{person.code}: taken back: {words}. What was stored stays beside it.")


def _takeable(store: Store, code: str) -> dict[str, list[tuple[str, str]]]:
    goals = {goal.goal_id: goal.goal for goal in store.care.goals(code)}
    return {
        "event": [
            (m.marker_id, f"{m.at_utc[:10]} {m.kind}" + (f": {m.note}" if m.note else ""))
            for m in store.annotations.markers(code)
        ],
        "goal": list(goals.items()),
        "rating": [
            (x.level_id, f"{x.at_utc[:10]} {goals[x.goal_id]}: {x.level:+d}")
            for x in store.care.goal_levels()
            if x.goal_id in goals
        ],
    }


COMMANDS = (acknowledge, state, contraindications, limits, take_back)
