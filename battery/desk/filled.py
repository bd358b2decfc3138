"""Forms as they were sent: what was typed stays, and what is wrong stands at its field.

A rule that refuses something raises a `BatteryError` whose `field` names what is wrong. The
screen answers with itself again and a `Sent`; its template asks for each of its forms by name
(`of`) and draws every field with the macros of ``fields.html.j2``. So a line stands at its
field, the first of them has the focus, and what concerns no field stands above the button.

A form that arrives while the desk is locked is kept the same way (`unsaved`): it names itself
and what of it is never kept in hidden fields, so that one rule does for every form.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field

from markupsafe import Markup
from starlette.datastructures import FormData

from battery.desk.guard import FORM_FIELD
from battery.desk.words import _
from battery.errors import BatteryError

Retell = Callable[[str], str]
NAME_FIELD = "form_name"  # hidden, in every form into which something is typed
SECRET_FIELD = "form_secret_field"  # hidden, beside every field that is never kept
MAX_KEPT = 50_000  # characters of a form that is kept, names of fields among them
MAX_FORM_NAME = 200
UNSAVED = _(
    "This is not saved: the desk was locked before it arrived. Look it over and press the "
    "button again."
)
UNDONE = _("The desk was locked before this arrived; nothing was done. Press the button again.")
TOO_LONG = _(
    "This is not saved: the desk was locked before it arrived, and it is too long to be kept. "
    "Enter it again."
)
SECRETS_GONE = _("Codes, pass phrases and confirmations are not kept: give them again.")


@dataclass(frozen=True, slots=True)
class Sent:
    """A form that somebody sent, to be shown again.

    Parameters
    ----------
    form : str
        Its name on the screen.
    values : mapping of str to sequence of str
        What was typed and ticked, by the names of fields; never what was uploaded.
    wrong : mapping of str to str
        What is wrong, by the names of fields; under an empty name what concerns no single one.
    """

    form: str
    values: Mapping[str, Sequence[str]]
    wrong: Mapping[str, Sequence[str]] = field(default_factory=dict)


def sent(name: str, form: FormData, *errors: BatteryError) -> Sent:
    """Return a form as it was sent, with what was wrong in it."""
    values = {
        key: tuple(value for value in form.getlist(key) if isinstance(value, str))
        for key in form
    }
    wrong: dict[str, list[str]] = {}
    for error in errors:
        wrong.setdefault(error.field, []).append(str(error))
    return Sent(name, values, wrong)


def unsaved(form: FormData) -> Sent:
    """Return a form that arrived while the desk was locked, to be shown again later.

    Without what was typed into fields for secrets and what was uploaded; without anything that
    was typed if it is longer than `MAX_KEPT`.
    """
    held = sent(str(form.get(NAME_FIELD, "")), form)
    secret = held.values.get(SECRET_FIELD, ())
    hidden = (FORM_FIELD, NAME_FIELD, SECRET_FIELD, *secret)
    values = {key: told for key, told in held.values.items() if held.form and key not in hidden}
    n_characters = sum(
        len(key) + sum(len(value) + 1 for value in told) for key, told in values.items()
    )
    if n_characters > MAX_KEPT:
        return Sent(held.form[:MAX_FORM_NAME], {}, {"": [TOO_LONG]})
    lines = [UNSAVED if held.form else UNDONE]
    if any(value for key in secret for value in held.values.get(key, ())):
        lines.append(SECRETS_GONE)
    return Sent(held.form[:MAX_FORM_NAME], values, {"": lines})


class Checks:
    """Gathers what is wrong with a form, so that all of it is told at once."""

    def __init__(self) -> None:
        self.errors: list[BatteryError] = []

    @contextmanager
    def of(self, name: str = "") -> Iterator[None]:
        """Keep an error inside; it concerns this field unless it names one itself."""
        try:
            yield
        except BatteryError as error:
            error.field = error.field or name
            self.errors.append(error)


class Filled:
    """A form of a screen while it is drawn.

    Parameters
    ----------
    name : str
        Unlike that of any other form of the screen.
    held : Sent or None
        What was sent last, from whichever form of the screen; None on a screen that was only
        opened.
    retell : callable
        Puts a line into the language of the screen.
    """

    def __init__(self, name: str, held: Sent | None, retell: Retell) -> None:
        self.name = name
        self.was_sent = held is not None and held.form == name
        self._values = held.values if held is not None and self.was_sent else {}
        told = held.wrong if held is not None and self.was_sent else {}
        self._wrong = {key: " ".join(map(retell, lines)) for key, lines in told.items()}
        self._untold = dict(self._wrong)
        self._focused = False

    @property
    def wrong(self) -> bool:
        """Whether something is wrong with it."""
        return bool(self._wrong)

    def value(self, name: str, held: str = "") -> str:
        """Return what a field holds: what was typed, else what holds now."""
        if not self.was_sent:
            return held
        values = self._values.get(name, ())
        return values[-1] if values else ""

    def ticked(self, name: str, value: str, held: bool = False) -> bool:
        """Whether a box or a choice is ticked: as it was sent, else as it holds now."""
        return value in self._values.get(name, ()) if self.was_sent else held

    def line(self, name: str) -> str:
        """Return what is wrong with a field, to be told at it; empty where nothing is."""
        self._untold.pop(name, None)
        return self._wrong.get(name, "")

    def place(self, name: str) -> str:
        """Return what the line at a field is called in the page."""
        return re.sub(r"[^\w-]", "-", f"wrong-{self.name}-{name}")

    def marks(self, name: str, *, also: str = "", first: bool = True) -> Markup:
        """Return what a field says of itself, for those who do not see the line.

        Parameters
        ----------
        name : str
        also : str
            What describes it in any case, by its name in the page.
        first : bool
            Whether it is the first of several of the same name, which gets the focus.
        """
        wrong = name in self._wrong
        by = " ".join(filter(None, [also, self.place(name) if wrong else ""]))
        told = Markup(' aria-describedby="{}"').format(by) if by else Markup("")
        if wrong:
            told += Markup(' aria-invalid="true"')
        if wrong and first and not self._focused:
            self._focused = True
            told += Markup(" autofocus")
        return told

    def rest(self) -> list[tuple[str, Markup]]:
        """Return what was told at no field, and the focus where no field has it."""
        told = list(self._untold.values())
        self._untold = {}
        focus = Markup("") if self._focused else Markup(" autofocus")
        self._focused = self._focused or bool(told)
        return [(line, Markup("") if place else focus) for place, line in enumerate(told)]


class Forms:
    """The forms of one screen while it is drawn, each by its name."""

    def __init__(self, held: Sent | None, retell: Retell) -> None:
        self._held, self._retell = held, retell
        self._made: dict[str, Filled] = {}

    def __call__(self, name: str) -> Filled:
        """Return a form."""
        if name not in self._made:
            self._made[name] = Filled(name, self._held, self._retell)
        return self._made[name]

    def elsewhere(self) -> list[tuple[str, Markup]]:
        """Return what is wrong with a form that is not, or no longer, on the screen."""
        if self._held is None or self._held.form in self._made:
            return []
        return self(self._held.form).rest()
