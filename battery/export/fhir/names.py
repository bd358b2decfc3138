"""Identifiers that are the same each time, references, moments: what every resource needs."""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta, timezone
from typing import Any

Resource = dict[str, Any]

FORM = "1.0.0"  # of these resources: what is written where, the questions, the words
# Drawn at random once. Canonical addresses are URNs made of it: the project has no web address
# of its own, and one that somebody else may own would be worse than none.
SPACE = uuid.UUID("ffef2217-943d-47fd-aefb-e14a877dd6b1")
UCUM = "http://unitsofmeasure.org"
CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"
ABSENT = "http://terminology.hl7.org/CodeSystem/data-absent-reason"


def identity(kind: str, *parts: str) -> str:
    """Return the identifier of something: a UUID of version 5, the same for the same parts.

    Examples
    --------
    >>> identity("visit", "1") == identity("visit", "1") != identity("visit", "2")
    True
    """
    return str(uuid.uuid5(SPACE, "\x1f".join((kind, *parts))))


def urn(identifier: str) -> str:
    """Write an identifier as a URN."""
    return f"urn:uuid:{identifier}"


MEASURES_SYSTEM = urn(identity("system", "measures"))
WORDS_SYSTEM = urn(identity("system", "words"))
QUESTIONS_ADDRESS = urn(identity("questionnaire", "around a visit"))
PEOPLE_SYSTEM = urn(identity("system", "study codes"))
DEVICES_SYSTEM = urn(identity("system", "device aliases"))


def refer(resource: Resource) -> dict[str, str]:
    """Refer to a resource of the same bundle."""
    return {"reference": urn(resource["id"]), "type": resource["resourceType"]}


def local_text(utc: str, utc_offset_min: int) -> str:
    """Write a moment of the store on the clock of the place, with its offset.

    Examples
    --------
    >>> local_text("2026-03-02T08:30:00+00:00", 60)
    '2026-03-02T09:30:00.000+01:00'
    """
    zone = timezone(timedelta(minutes=utc_offset_min))
    return moment_text(datetime.fromisoformat(utc).astimezone(zone))


def moment_text(moment: datetime) -> str:
    """Write a moment with its offset.

    Raises
    ------
    ValueError
        If it has none.
    """
    if moment.utcoffset() is None:
        msg = f"{moment=} must have a zone"
        raise ValueError(msg)
    return moment.isoformat(timespec="milliseconds")


def concept(system: str, code: str, display: str, *, version: str, text: str) -> Resource:
    """Make a concept of one of the project's own systems, with what a person reads."""
    coding = {"system": system, "version": version, "code": code, "display": display}
    return {"coding": [coding], "text": text}
