"""Whether a bundle says what it may: fields, words, units, dates, references, answers.

A model of the standard alone misses words that the standard binds, units, and references
that lead nowhere; so they are looked at here, and no bundle with a finding is written. It is
no validator of FHIR: a clinic that sends to a record system tries that with the validator of
HL7 and the system's own profiles first.
"""

from __future__ import annotations

import base64
import binascii
import math
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from battery.export.fhir.bindings import ABSENT_REASONS, CATEGORIES, NEVER, REQUIRED, UNITS
from battery.export.fhir.names import ABSENT, CATEGORY, UCUM
from battery.export.fhir.schema import ONE_VALUE, OR_ABSENT, RESOURCES, TARGETS, TYPES

MOMENT = re.compile(
    r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-](0\d|1[0-4]):[0-5]\d)", re.ASCII
)
CODE = re.compile(r"[^\s]+( [^\s]+)*")
IDENTIFIER = re.compile(r"[A-Za-z0-9\-.]{1,64}")
ADDRESS = re.compile(r"[A-Za-z][A-Za-z0-9+.\-]*:\S+|[A-Z][A-Za-z]+")
OUTSIDE: Mapping[str, Mapping[str, str]] = {ABSENT: ABSENT_REASONS, CATEGORY: CATEGORIES}


def findings(bundle: Any) -> list[str]:
    """List what is wrong with a bundle, each with its place; nothing if it may be sent."""
    if not isinstance(bundle, dict) or bundle.get("resourceType") != "Bundle":
        return ["it is no Bundle"]
    check = _Check()
    check.collect(bundle)
    check.walk(bundle, "Bundle", "Bundle")
    check.entries(bundle)
    check.answers()
    return check.found


@dataclass
class _Check:
    found: list[str] = field(default_factory=list)
    resources: dict[str, dict[str, Any]] = field(default_factory=dict)  # by full address
    codes: dict[str, set[str]] = field(default_factory=dict)  # by code system

    def say(self, place: str, what: str) -> None:
        self.found.append(f"{place}: {what}")

    def collect(self, bundle: dict[str, Any]) -> None:
        """Note the resources and the codes that are defined in the bundle."""
        for entry in _dicts(bundle.get("entry")):
            resource = entry.get("resource")
            if not isinstance(resource, dict):
                continue
            address = entry.get("fullUrl")
            if isinstance(address, str):
                if address in self.resources:
                    self.say(address, "two resources have it")
                self.resources[address] = resource
            if resource.get("resourceType") == "CodeSystem":
                told = [c.get("code") for c in _dicts(resource.get("concept"))]
                if len(set(map(str, told))) < len(told) or resource.get("count") != len(told):
                    self.say("CodeSystem", "a code stands twice, or the count is wrong")
                self.codes[str(resource.get("url"))] = set(map(str, told))

    def walk(self, value: Any, kind: str, place: str) -> None:
        """Look at a value of a type, and all that is in it."""
        if kind in PRIMITIVES:
            if not PRIMITIVES[kind](value):
                self.say(place, f"{_short(value)} is no {kind}")
            return
        if not isinstance(value, dict):
            self.say(place, f"{_short(value)} is no {kind}")
            return
        if kind == "Resource":
            kind = str(value.get("resourceType"))
            place = f"{kind}/{_short(value.get('id'))}"
            if kind not in RESOURCES:
                self.say(place, "no resource of this kind is sent")
                return
        self._fields(value, kind, place)
        self._rules(value, kind, place)

    def _fields(self, value: dict[str, Any], kind: str, place: str) -> None:
        known = TYPES[kind]
        for name in value:
            if name not in known:
                self.say(f"{place}.{name}", f"unknown field of {kind}")
        for name, told in known.items():
            own, many = told.rstrip("!*+"), told[-1]
            where = f"{place}.{name}"
            if name not in value:
                if many in "!+":
                    self.say(where, "missing")
                continue
            inside = value[name]
            if many in "*+":
                if not isinstance(inside, list) or not inside:
                    self.say(where, "must be a list with something in it")
                    continue
                for index, each in enumerate(inside):
                    self.walk(each, own, f"{where}[{index}]")
            else:
                self.walk(inside, own, where)
            self._bound(inside, f"{kind}.{name}", where)

    def _bound(self, value: Any, name: str, place: str) -> None:
        if name in REQUIRED and value not in REQUIRED[name]:
            words = ", ".join(sorted(REQUIRED[name]))
            self.say(place, f"{_short(value)} is not one of {words}")
        elif value in NEVER.get(name, ()):
            self.say(place, f"{_short(value)} is not a machine's to say")
        if name in TARGETS:
            for each in _dicts(value if isinstance(value, list) else [value]):
                target = self.resources.get(str(each.get("reference")), {})
                kind = target.get("resourceType", "nothing in the bundle")
                if kind not in TARGETS[name]:
                    self.say(place, f"leads to {kind}, not to {' or '.join(TARGETS[name])}")

    def _rules(self, value: dict[str, Any], kind: str, place: str) -> None:
        if kind in ONE_VALUE:
            there = [n for n in value if n.startswith("value")]
            there += ["dataAbsentReason"] if "dataAbsentReason" in value else []
            if len(there) != 1:
                why = " and ".join(there) if there else "nothing"
                or_why = " or a reason why it is absent" if kind in OR_ABSENT else ""
                self.say(place, f"has {why}; it must have one value{or_why}")
        rule = {
            "Coding": self._coding,
            "Quantity": self._quantity,
            "Reference": self._reference,
            "CodeableConcept": self._concept,
            "Range": self._range,
            "Period": self._period,
            "QuestionnaireResponse": self._asked,
        }.get(kind)
        if rule is not None:
            rule(value, place)
        if kind == "Observation":
            self._observation(value, place)

    def _coding(self, value: dict[str, Any], place: str) -> None:
        system, code = value.get("system"), value.get("code")
        known = self.codes.get(str(system), OUTSIDE.get(str(system)))
        if known is None:
            self.say(place, f"code system {_short(system)} is not in the bundle")
        elif code not in known:
            self.say(place, f"{_short(code)} is no code of {_short(system)}")

    def _quantity(self, value: dict[str, Any], place: str) -> None:
        if value.get("system") != UCUM:
            self.say(place, f"its unit is of {_short(value.get('system'))}, not of UCUM")
        elif value.get("code") not in UNITS:
            self.say(place, f"{_short(value.get('code'))} is no unit of a measure, as UCUM")
        elif value.get("unit", "") != UNITS[value["code"]]:
            self.say(place, f"unit {_short(value.get('unit'))} is not {value['code']!r}")

    def _reference(self, value: dict[str, Any], place: str) -> None:
        address = value.get("reference")
        if address is None:
            if not value.get("display"):
                self.say(place, "refers to nothing")
            return
        target = self.resources.get(str(address))
        if target is None:
            self.say(place, f"{_short(address)} is not in the bundle")
        elif value.get("type", target.get("resourceType")) != target.get("resourceType"):
            self.say(place, f"{_short(address)} is no {_short(value.get('type'))}")

    def _concept(self, value: dict[str, Any], place: str) -> None:
        if not value.get("coding") and not value.get("text"):
            self.say(place, "has neither code nor text")

    def _range(self, value: dict[str, Any], place: str) -> None:
        low, high = (value.get(name) or {} for name in ("low", "high"))
        try:
            if low["value"] > high["value"] or low["code"] != high["code"]:
                self.say(place, "its low end is above its high end, or of another unit")
        except (KeyError, TypeError):
            self.say(place, "has no two ends that can be compared")

    def _period(self, value: dict[str, Any], place: str) -> None:
        ends = [value.get("start"), value.get("end")]
        if all(map(_is_moment, ends)):
            start, end = (datetime.fromisoformat(str(each)) for each in ends)
            if start > end:
                self.say(place, f"ends {ends[1]}, before it starts {ends[0]}")

    def _observation(self, value: dict[str, Any], place: str) -> None:
        reasons = [value, *_dicts(value.get("component"))]
        for reason in _dicts([each.get("dataAbsentReason") for each in reasons]):
            if not any(c.get("system") == ABSENT for c in _dicts(reason.get("coding"))):
                self.say(f"{place}.dataAbsentReason", "has no code of the standard's reasons")
            if not reason.get("text"):
                self.say(f"{place}.dataAbsentReason", "does not say why in words")
        for category in _dicts(value.get("category")):
            if not any(c.get("system") == CATEGORY for c in _dicts(category.get("coding"))):
                self.say(f"{place}.category", "has no code of the standard's categories")

    def entries(self, bundle: dict[str, Any]) -> None:
        """Look at addresses: each entry is put where it says it is."""
        for index, entry in enumerate(_dicts(bundle.get("entry"))):
            resource, request = entry.get("resource"), entry.get("request")
            if not isinstance(resource, dict) or not isinstance(request, dict):
                continue
            own = f"{resource.get('resourceType')}/{resource.get('id')}"
            if entry.get("fullUrl") != f"urn:uuid:{resource.get('id')}":
                self.say(f"Bundle.entry[{index}].fullUrl", f"is not that of {own}")
            if request.get("url") != own:
                self.say(f"Bundle.entry[{index}].request.url", f"is not {own}")

    def _asked(self, value: dict[str, Any], place: str) -> None:
        named = value.get("questionnaire")
        if not any(named == _canonical(r) for r in self._of("Questionnaire")):
            self.say(f"{place}.questionnaire", f"{_short(named)} is not in the bundle")

    def answers(self) -> None:
        """Hold every answer to the question it is given to."""
        for response in self._of("QuestionnaireResponse"):
            for asked in self._of("Questionnaire"):
                if _canonical(asked) == response.get("questionnaire"):
                    questions = {
                        str(item.get("linkId")): item for item in _items(asked.get("item"))
                    }
                    self._held(response, questions)

    def _held(self, response: dict[str, Any], questions: Mapping[str, dict[str, Any]]) -> None:
        for item in _items(response.get("item")):
            name = str(item.get("linkId"))
            place = f"QuestionnaireResponse/{_short(response.get('id'))} {name}"
            question = questions.get(name)
            if question is None:
                self.say(place, "is no question of the questionnaire")
                continue
            answers = _dicts(item.get("answer"))
            if len(answers) > 1 and not question.get("repeats"):
                self.say(place, f"{len(answers)} answers to a question that takes one")
            kind = str(question.get("type"))
            wanted = {"choice": "valueCoding"}.get(kind, f"value{kind.capitalize()}")
            options = [o.get("valueCoding") for o in _dicts(question.get("answerOption"))]
            for answer in answers:
                if wanted not in answer:
                    self.say(place, f"an answer that is no {kind}")
                elif kind == "choice" and answer[wanted] not in options:
                    self.say(place, f"{_short(answer[wanted])} is none of its options")

    def _of(self, kind: str) -> list[dict[str, Any]]:
        return [r for r in self.resources.values() if r.get("resourceType") == kind]


def _canonical(resource: dict[str, Any]) -> str:
    return f"{resource.get('url')}|{resource.get('version')}"


def _items(items: Any) -> Iterator[dict[str, Any]]:
    for item in _dicts(items):
        yield item
        yield from _items(item.get("item"))


def _dicts(values: Any) -> list[dict[str, Any]]:
    return [v for v in values if isinstance(v, dict)] if isinstance(values, list) else []


def _short(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 80 else f"{text[:77]}..."


def _is_text(value: Any) -> bool:
    return isinstance(value, str) and bool(value.strip())


def _is_number(value: Any) -> bool:
    return (
        isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    )


def _is_moment(value: Any) -> bool:
    """Whether it is a day with its time and zone; a day alone may be either of two days."""
    if not isinstance(value, str) or not MOMENT.fullmatch(value):
        return False
    try:
        datetime.fromisoformat(value)
    except ValueError:
        return False
    return True


def _is_base64(value: Any) -> bool:
    try:
        return isinstance(value, str) and bool(base64.b64decode(value, validate=True))
    except (binascii.Error, ValueError):
        return False


def _fits(pattern: re.Pattern[str]) -> Callable[[Any], bool]:
    return lambda value: isinstance(value, str) and pattern.fullmatch(value) is not None


PRIMITIVES: Mapping[str, Callable[[Any], bool]] = {
    "string": _is_text,
    "code": _fits(CODE),
    "id": _fits(IDENTIFIER),
    "uri": _fits(ADDRESS),
    "dateTime": _is_moment,
    "boolean": lambda value: isinstance(value, bool),
    "integer": lambda value: isinstance(value, int) and not isinstance(value, bool),
    "decimal": _is_number,
    "base64Binary": _is_base64,
}
