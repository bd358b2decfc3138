"""The commands that set things right: amendments, consent, erasure. Raw stays as read."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from battery.commands.common import Home, by_meant, now_utc, open_store
from battery.errors import UsageError

if TYPE_CHECKING:
    from battery.store import Scope, Store

Code = Annotated[str, typer.Argument(help="The person's code.")]
Author = Annotated[str, typer.Option("--by", help="Who says so, in initials or a role.")]
Change = tuple[Literal["person", "hand", "excluded", "note"], str]


def amend(
    code: Code,
    visit: Annotated[
        int | None, typer.Option(min=1, help="Number of the visit, as on the page.")
    ] = None,
    block: Annotated[
        int | None, typer.Option(min=1, help="Number of the block in the visit, as listed.")
    ] = None,
    hand: Annotated[
        str | None, typer.Option(help="The hand it was really done with: left or right.")
    ] = None,
    person: Annotated[
        str | None, typer.Option(help="Code of the person whose visit it really is.")
    ] = None,
    exclude: Annotated[
        bool | None, typer.Option("--exclude/--include", help="Leave it out, or take it back.")
    ] = None,
    note: Annotated[str | None, typer.Option(help="A few words about it.")] = None,
    by: Annotated[str, typer.Option(help="Who says so, in initials or a role.")] = "",
    reason: Annotated[str, typer.Option(help="Why it is said.")] = "",
    home: Home = None,
) -> None:
    """Say what was wrong about a visit or block: hand, person, or that it does not count.

    The record stays; the latest entry holds. Without a change it lists what can be named.
    Example: battery amend K7QF --visit 3 --block 2 --hand left --by AB --reason "pen in left"
    """
    changes: list[Change] = []
    changes += [("hand", hand.lower())] if hand is not None else []
    changes += [("person", person.upper())] if person is not None else []
    changes += [("excluded", "yes" if exclude else "no")] if exclude is not None else []
    changes += [("note", note)] if note is not None else []
    with open_store(home, write=bool(changes)) as store:
        known = store.people.get(code.upper()).code
        if not changes:
            _list(store, known, visit)
            return
        if len(changes) > 1:
            msg = "say one change at a time; nothing was amended"
            raise UsageError(msg)
        _amend(store, known, visit, block, changes[0], by=by, reason=reason)


def _amend(
    store: Store,
    code: str,
    visit: int | None,
    block: int | None,
    change: Change,
    *,
    by: str,
    reason: str,
) -> None:
    from battery.effective import block_meant, visit_meant

    if visit is None:
        msg = f"which visit? 'battery amend {code}' lists them; nothing was amended"
        raise UsageError(msg)
    header = visit_meant(store, code, visit).header
    field, new = change
    target: Literal["visit", "block"] = "visit" if block is None else "block"
    target_id = header.visit_id
    if block is not None:
        target_id = block_meant(store, header.visit_id, block).record.header.block_id
    said = store.annotations.amend(
        target, target_id, field, new, author=by, reason=reason, at_utc=now_utc()
    )
    where = f"visit {visit}" + (f" block {block}" if block is not None else "")
    was = f" (was {said.old})" if said.old else ""
    print(f"{code} {where}: {field} is now {said.new}{was}. The record was not changed.")


def _list(store: Store, code: str, visit: int | None) -> None:
    from battery.effective import blocks_of, visit_meant, visits_of
    from battery.store import Amended

    amendments = store.annotations.amendments()
    amended = Amended(amendments)
    if visit is None:
        for number, each in enumerate(visits_of(store, code), start=1):
            out = " left out" if amended.excluded(each.header.visit_id) else ""
            print(f"visit {number}  {each.header.started_utc[:16]}  {each.ending}{out}")
        print(f"For its blocks: battery amend {code} --visit NUMBER")
        return
    header = visit_meant(store, code, visit).header
    targets = {header.visit_id: f"visit {visit}"}
    for number, held in enumerate(blocks_of(store, header.visit_id), start=1):
        out = " left out" if held.excluded else ""
        told = held.record.header
        print(f"block {number}  {told.task}  {held.hand} hand  {told.phase}"
              f"  {held.record.ending}{out}")  # fmt: skip
        targets[told.block_id] = f"block {number}"
    for said in amendments:
        if said.target_id in targets:
            print(
                f"{targets[said.target_id]}: {said.field} {said.old!r} became {said.new!r}, by "
                f"{said.author} on {said.at_utc[:16]}: {said.reason}"
            )


def consent(
    code: Code,
    form_version: Annotated[str, typer.Option(help="Version of the form that was signed.")],
    given: Annotated[
        bool, typer.Option("--given/--withdrawn", help="What the person decided.")
    ],
    use: Annotated[
        str, typer.Option("--for", help="About what: research (export) or care (record, page).")
    ] = "research",
    by: Annotated[str, typer.Option(help="Who says so, in initials or a role.")] = "",
    home: Home = None,
) -> None:
    """Record a person's decision about research use, or about record and page.

    Only people who consented to research use are exported; whoever withdrew either consent is
    in no export.
    Example: battery consent K7QF --given --form-version 2 --for research
    """
    from battery.entered_by import keep_entered_by

    scope: Scope
    if use == "research":
        scope = "research"
    elif use == "care":
        scope = "care"
    else:
        msg = f"--for {use!r}: say research or care. Nothing was stored"
        raise UsageError(msg)
    if not form_version.strip():
        msg = "the version of the form is empty; say it. Nothing was stored"
        raise UsageError(msg)
    with open_store(home) as store:
        person = store.people.get(code.upper())
        with store.together():
            said = store.people.record_consent(
                person.code,
                form_version=form_version,
                decision="given" if given else "withdrawn",
                at_utc=now_utc(),
                scope=scope,
            )
            keep_entered_by(store, person.code, said.consent_id, by_meant(by))
    print(f"{person.code}: consent to {scope} {said.decision} under form {said.form_version}")


def erase(
    code: Code,
    by: Author,
    inbox: Annotated[
        list[Path] | None,
        typer.Option(help="A folder of bundles to clear too; those received from are known."),
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    home: Home = None,
) -> None:
    """Erase a person for good: store, bundles in known folders, every later export.

    This cannot be undone. Copies made by 'battery backup' and earlier exports are not reached.
    Example: battery erase K7QF --by AB --yes
    """
    from battery.handover import erase_everywhere

    code = code.upper()
    if not yes:
        if not sys.stdin.isatty():
            msg = f"erasing {code} cannot be undone; say --yes. Nothing was erased"
            raise UsageError(msg)
        typer.confirm(f"Erase {code} and everything recorded of them for good?", abort=True)
    with open_store(home) as store:
        n_rows, left = erase_everywhere(
            store, code, author=by, at_utc=now_utc(), folders=inbox or []
        )
    print(f"{code} is erased: {n_rows} rows are gone, a tombstone stays.")
    for line in left:
        print(line)
    print(
        "Not reached: copies made by 'battery backup', exports made earlier, and a name kept "
        "at the desk. Delete them."
    )


COMMANDS = (amend, consent, erase)
