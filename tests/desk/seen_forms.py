"""Forms as a browser gets them: their fields with what they hold, and lines by their names."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser

EMPTY = {"input", "meta", "link", "br", "hr", "img"}


@dataclass
class Field:
    """A field of a form; for a list the values that are chosen in it."""

    name: str
    kind: str
    marks: dict[str, str]
    place: int  # tags of the page before it
    held: list[str] = field(default_factory=list)
    offered: list[str] = field(default_factory=list)  # of which it holds some; empty: anything


@dataclass
class Seen(HTMLParser):
    """A page taken apart."""

    text: str
    forms: list[tuple[dict[str, str], list[Field]]] = field(default_factory=list)
    lines: dict[str, str] = field(default_factory=dict)  # by the name in the page
    places: dict[str, int] = field(default_factory=dict)
    alerts: list[str] = field(default_factory=list)
    focused: list[tuple[str, str]] = field(default_factory=list)  # tag, and name or role

    def __post_init__(self):
        super().__init__()
        self._open, self._at, self._option, self._list = [], 0, None, None
        self.feed(self.text)

    def handle_starttag(self, tag, attrs):
        marks = {name: value or "" for name, value in attrs}
        self._at += 1
        if tag not in EMPTY:
            self._open.append((tag, marks))
        if "id" in marks:
            self.places[marks["id"]] = self._at
        if "autofocus" in marks:
            self.focused.append((tag, marks.get("name") or marks.get("role", "")))
        if tag == "form":
            self.forms.append((marks, []))
        if tag in ("input", "select", "textarea") and self.forms:
            kind = marks.get("type", "text") if tag == "input" else tag
            made = Field(marks.get("name", ""), kind, marks, self._at)
            if kind in ("radio", "checkbox"):
                made.held = [marks["value"]] if "checked" in marks else []
                made.offered = [marks["value"]]
            elif tag == "input":
                made.held = [marks.get("value", "")]
            self.forms[-1][1].append(made)
            self._list = made
        if tag == "option" and self._list is not None:
            self._list.offered.append(marks.get("value", ""))
            if "selected" in marks:
                self._list.held.append(marks.get("value", ""))

    def handle_endtag(self, tag):
        while self._open and self._open.pop()[0] != tag:
            pass

    def handle_data(self, data):
        for _tag, marks in self._open:
            if "id" in marks:
                self.lines[marks["id"]] = self.lines.get(marks["id"], "") + data
        for _tag, marks in self._open[-1:]:
            if marks.get("role") == "alert":
                self.alerts.append(data)

    def form(self, action, **hidden):
        """The form of an action, or of several the one whose hidden fields hold this."""
        for marks, fields in self.forms:
            told = {f.name: f.held for f in fields if f.kind == "hidden"}
            if marks.get("action") == action and all(
                told.get(name) == [value] for name, value in hidden.items()
            ):
                return fields
        msg = f"no form {action} {hidden}"
        raise AssertionError(msg)
