"""The form of how the tablet looks and sounds for a person, on whichever screen it stands."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from starlette.datastructures import FormData

from battery.comfort import keep_comfort, latest_of, overruled
from battery.desk.frame import Office, chosen
from battery.desk.words import _
from battery.errors import UsageError
from battery.looks import OWN_NAMES, SIZES_PERCENT, THEMES, Comfort
from battery.store import Store

# What is offered of each thing, and how it is called here; what is not chosen is not set.
OFFERED: dict[str, tuple[str, tuple[tuple[str, str], ...]]] = {
    "language": (_("Language of words and voice"), tuple(OWN_NAMES.items())),
    "text_percent": (_("Size of words"), tuple((str(n), f"{n} %") for n in SIZES_PERCENT)),
    "buttons": (
        _("Buttons and letters"),
        (("usual", _("usual")), ("large", _("large (30 mm)"))),
    ),
    "theme": (
        _("Colours"),
        tuple(
            zip(
                THEMES,
                (_("light"), _("dark"), _("dim, for eyes sensitive to light")),
                strict=True,
            )
        ),
    ),
    "voice": (_("Pages read aloud"), (("on", _("yes")), ("off", _("no")))),
    "volume_percent": (
        _("Loudness"),
        (("0", _("no sound")), *((str(n), f"{n} %") for n in (30, 50, 70, 100))),
    ),
    "side": (
        _("Presses buttons with"),
        (("left", _("the left hand")), ("right", _("the right hand"))),
    ),
}
UNSET = {
    "volume_percent": _("asked at the first visit"),
    "side": _("the writing hand"),
}
USUAL = _("as on the tablet")


def comfort_said(form: FormData) -> dict[str, Any]:
    """Return what was chosen.

    Raises
    ------
    UsageError
        If something is not among what is offered.
    """
    said: dict[str, Any] = {}
    for name in OFFERED:
        if not (told := chosen(form, f"comfort-{name}")):
            continue
        if name == "voice" and told in ("on", "off"):
            said[name] = told == "on"
        elif not name.endswith("_percent"):
            said[name] = told
        elif told.isdecimal() and len(told) <= len("100"):
            said[name] = int(told)
        else:
            msg = f"{told[:40]!r} is not a percentage; nothing was stored"
            raise UsageError(msg, field=f"comfort-{name}")
    try:
        replace(Comfort(), **said)  # what cannot be is refused before anything is written
    except UsageError as error:
        error.field = f"comfort-{error.field}"
        raise
    return said


def keep_said(here: Office, store: Store, code: str, said: dict[str, Any]) -> None:
    """Keep what was chosen, as `battery comfort` does."""
    keep_comfort(store, code, author=here.session.author, at_utc=here.now_utc(), **said)


def comfort_fields(store: Store | None = None, code: str = "") -> list[dict[str, Any]]:
    """Return the fields of the form: of each its name, words, choices and what was set.

    A value that nobody offers here stands among the choices while it holds.
    """
    held = {} if store is None else latest_of(store.care.comforts(code))
    fields = []
    for name, (label, choices) in OFFERED.items():
        value = held[name].value if name in held else ""
        known = {word for word, _label in choices}
        unit = " %" if name.endswith("_percent") else ""
        fields.append(
            {
                "name": f"comfort-{name}",
                "label": label,
                "choices": choices
                if value in ("", *known)
                else (*choices, (value, f"{value}{unit}")),
                "held": value,
                "unset": "" if value else UNSET.get(name, USUAL),
            }
        )
    return fields


def lost_choices(store: Store, code: str) -> list[dict[str, str]]:
    """Return what the person chose on the tablet and somebody set otherwise afterwards."""
    words = {name: (label, dict(choices)) for name, (label, choices) in OFFERED.items()}
    return [
        {
            "what": words[was.name][0],
            "was": words[was.name][1].get(was.value, was.value),
            "was_on": was.at_utc[:10],
            "now": words[was.name][1].get(now.value, now.value),
            "author": now.author,
            "on": now.at_utc[:10],
        }
        for was, now in overruled(store.care.comforts(code))
        if was.name in words
    ]
