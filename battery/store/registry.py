"""Who and what there is: people and their consent, devices, plans, the clinic's settings."""

from __future__ import annotations

import json
import uuid
from collections.abc import Mapping
from dataclasses import asdict
from functools import partial
from typing import Any

from sqlalchemy import Connection, Executable, Table, insert, select
from sqlalchemy.dialects import postgresql, sqlite

from battery.errors import RecordError, UsageError
from battery.recording import Device
from battery.store import rebuild, schema
from battery.store.base import UNREADABLE, Connected, ascii_only
from battery.store.fitting import fitted
from battery.store.rows import Consent, Decision, Person, Scope
from battery.store.settings import hold_setting, read_setting

SETTINGS_KEY = 0x_C00D_0004
UNREADABLE_SETTING = "unreadable"


def _put_or_replace(
    connection: Connection, table: Table, key: str, value: str, text: str
) -> Executable:
    """Return the statement that puts a text under a key; the same twice at once is no error."""
    dialect = postgresql if connection.dialect.name == "postgresql" else sqlite
    put = dialect.insert(table).values(**{key: value, "json": text})
    done: Executable = put.on_conflict_do_update(index_elements=[key], set_={"json": text})
    return done


def _is_whole(name: str, text: str) -> bool:
    try:
        return not read_setting(name, text)[1]
    except UNREADABLE:
        return False


def _hold_to_form(name: str, value: Any) -> None:
    try:
        _, problems = hold_setting(name, value)
    except ValueError as error:
        problems = [str(error)]
    if problems:
        msg = f"setting {name}: {problems[0]}. Nothing was changed"
        raise UsageError(msg)


class Registry(Connected):
    """People, devices, plans and settings."""

    def add_person(self, person: Person) -> None:
        """Add somebody; the code must be new."""
        with self._writing() as connection:
            connection.execute(insert(schema.people).values(**asdict(person)))

    def person(self, code: str) -> Person:
        """Return the person with this code.

        Raises
        ------
        UsageError
            If nobody has it.
        """
        query = select(schema.people).where(schema.people.c.code == code)
        with self._reading() as connection:
            row = connection.execute(query).mappings().first()
        if row is None:
            codes = [p.code for p in self.list_people()]
            known = ", ".join(codes[:6]) + (" ..." if len(codes) > 6 else "")
            hint = (
                f"enrolled are {known}" if codes else "nobody is enrolled; run 'battery enrol'"
            )
            msg = f"no person {code!r} in this store; {hint}"
            raise UsageError(msg)
        try:
            return fitted(Person, row)
        except UNREADABLE as error:
            msg = f"person {code!r} cannot be read: {error}; others are not affected"
            raise RecordError(msg) from error

    def list_people(self) -> list[Person]:
        """List everybody in order of enrolment."""
        query = select(schema.people).order_by(
            schema.people.c.enrolled_utc, schema.people.c.code
        )
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, partial(fitted, Person), "person", "code")

    def record_consent(
        self,
        person: str,
        *,
        form_version: str,
        decision: Decision,
        at_utc: str,
        scope: Scope = "research",
    ) -> Consent:
        """Keep a person's decision about a use of the data; the latest one of a scope holds."""
        consent = Consent(str(uuid.uuid4()), person, form_version, decision, at_utc, scope)
        with self._writing() as connection:
            connection.execute(insert(schema.consents).values(**asdict(consent)))
        return consent

    def consents(self, person: str | None = None) -> list[Consent]:
        """List decisions in order of time, of one person or of all."""
        query = select(schema.consents).order_by(
            schema.consents.c.at_utc, schema.consents.c.consent_id
        )
        if person is not None:
            query = query.where(schema.consents.c.person == person)
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, partial(fitted, Consent), "consent", "consent_id")

    def withdrawn(self) -> frozenset[str]:
        """Return the codes of everybody whose latest decision about a use is to withdraw."""
        latest = {(c.person, c.scope): c.decision for c in self.consents()}
        return frozenset(code for (code, _), word in latest.items() if word == "withdrawn")

    def gave_consent(self, scope: Scope) -> frozenset[str]:
        """Return the codes of everybody whose latest decision about a use is to give it."""
        latest = {c.person: c.decision for c in self.consents() if c.scope == scope}
        return frozenset(code for code, word in latest.items() if word == "given")

    def put_device(self, device: Device) -> None:
        """Remember a device under its alias, in place of what was known of it."""
        self._put(schema.devices, "alias", device.alias, json.dumps(asdict(device)))

    def devices(self) -> list[Device]:
        """List the devices as last seen."""
        query = select(schema.devices).order_by(schema.devices.c.alias)
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, lambda r: rebuild.device(r["json"]), "device", "alias")

    def device(self, alias: str) -> Device | None:
        """Return a device as last seen; None if the alias is new."""
        text = self._get(schema.devices, "alias", alias)
        return None if text is None else rebuild.device(text)

    def put_plan(self, plan_hash: str, content: Mapping[str, Any]) -> None:
        """Remember a plan under its hash; one that is known stays as it is."""
        if self._get(schema.plans, "plan_hash", plan_hash) is None:
            self._put(schema.plans, "plan_hash", plan_hash, json.dumps(content, sort_keys=True))

    def plans(self) -> dict[str, dict[str, Any]]:
        """Return all plans by their hash, in order of the hash."""
        query = select(schema.plans).order_by(schema.plans.c.plan_hash)
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        pairs = self._built(
            rows, lambda r: (r["plan_hash"], dict(json.loads(r["json"]))), "plan", "plan_hash"
        )
        return dict(pairs)

    def put_setting(self, name: str, value: Any) -> None:
        """Keep a setting of the clinic in place of an earlier one.

        Raises
        ------
        UsageError
            If it does not have the form of a setting of this name.
        """
        _hold_to_form(name, value)
        with self._writing() as connection:
            self._replace(connection, name, json.dumps(value, sort_keys=True))

    def add_to_setting(self, name: str, value: Any) -> None:
        """Add a value to a setting that is a list, where it is not in it.

        Of two programs that do so at once neither loses the other's.

        Raises
        ------
        UsageError
            If it does not have the form of a setting of this name.
        """
        _hold_to_form(name, [value])
        table = schema.settings
        with self._writing() as connection:
            if connection.dialect.name == "postgresql":
                connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({SETTINGS_KEY})")
            held = connection.execute(select(table.c.json).where(table.c.name == name)).scalar()
            values = self._read_setting(name, held or "[]", [])
            if value not in values:
                self._replace(connection, name, json.dumps(sorted([*values, value])))

    def _replace(self, connection: Connection, name: str, text: str) -> None:
        """Put a setting; one that could not be read whole stays beside it as it was."""
        table = schema.settings
        held = connection.execute(select(table.c.json).where(table.c.name == name)).scalar()
        if held is not None and not _is_whole(name, held):
            aside = f"{UNREADABLE_SETTING}.{name}"
            connection.execute(_put_or_replace(connection, table, "name", aside, held))
        connection.execute(_put_or_replace(connection, table, "name", name, text))

    def setting(self, name: str, default: Any = None) -> Any:
        """Return a setting of the clinic, or `default` where there is none.

        What of it does not have the form of its name is left out, and named.
        """
        text = self._get(schema.settings, "name", name)
        return default if text is None else self._read_setting(name, text, default)

    def _read_setting(self, name: str, text: str, default: Any) -> Any:
        try:
            told, problems = read_setting(name, text)
        except UNREADABLE as error:
            told, problems = default, [str(error)]
        for problem in problems[:1]:
            self.left_out(
                f"setting {ascii_only(name)[:60]}",
                f"it cannot be read, and was left out: {problem}",
            )
        return told

    def _get(self, table: Table, key: str, value: str) -> str | None:
        query = select(table.c.json).where(table.c[key] == value)
        with self._reading() as connection:
            return connection.execute(query).scalar()

    def _put(self, table: Table, key: str, value: str, text: str) -> None:
        with self._writing() as connection:
            connection.execute(_put_or_replace(connection, table, key, value, text))
