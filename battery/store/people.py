"""Who there is, and what they agreed to."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import asdict
from functools import partial
from typing import Any

from sqlalchemy import insert, select

from battery import forms
from battery.errors import RecordError, UsageError
from battery.store import schema
from battery.store.base import UNREADABLE, Connected
from battery.store.fitting import fitted
from battery.store.rows.recorded import Consent, Decision, Person, Scope


class People(Connected):
    """People and their consent."""

    def add(self, person: Person) -> None:
        """Add somebody; the code must be new."""
        with self._writing() as connection:
            connection.execute(insert(schema.people).values(**asdict(person)))

    def get(self, code: str) -> Person:
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
            codes = [p.code for p in self.all()]
            known = ", ".join(codes[:6]) + (" ..." if len(codes) > 6 else "")
            hint = (
                f"enrolled are {known}" if codes else "nobody is enrolled; run 'battery enrol'"
            )
            msg = f"no person {code!r} in this store; {hint}"
            raise UsageError(msg)
        try:
            return _person(row)
        except UNREADABLE as error:
            msg = f"person {code!r} cannot be read: {error}; others are not affected"
            raise RecordError(msg) from error

    def all(self) -> list[Person]:
        """List everybody in order of enrolment."""
        query = select(schema.people).order_by(
            schema.people.c.enrolled_utc, schema.people.c.code
        )
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, _person, "person", "code")

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


def _person(row: Mapping[Any, Any]) -> Person:
    forms.hold(forms.PersonForm, dict(row))
    return fitted(Person, row)
