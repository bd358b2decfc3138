"""The desk in the languages it speaks: texts marked with ``_`` here and in its templates."""

from __future__ import annotations

import gettext
from functools import cache
from pathlib import Path

CATALOGUES = Path(__file__).parent / "catalogues"
DOMAIN = "desk"
LANGUAGES = {"en": "English", "de": "Deutsch"}


@cache
def catalogue(code: str) -> gettext.NullTranslations:
    """Return the texts of a language; English is what stands in the source."""
    if code == "en":
        return gettext.NullTranslations()
    return gettext.translation(DOMAIN, CATALOGUES, languages=[code], fallback=True)


def _(text: str) -> str:
    """Mark a text for translation; it is translated where it is shown."""
    return text


# Words that come from elsewhere and are translated where the desk shows them.
BY_NAME = (
    _("medication"), _("injection"), _("stimulation"), _("relapse"), _("fall"), _("illness"),
    _("therapy"), _("glasses"), _("weight"), _("helper"), _("device"), _("other"),
    _("active"), _("paused"), _("discharged"), _("alarm"), _("due"), _("overdue"),
    _("flagged"), _("possible"), _("beyond"), _("no visit yet"), _("not due yet"),
    _("left"), _("right"), _("both"), _("unknown"),
    _("tapping"), _("pursuit"), _("slide"), _("trail"),
    _("finished"), _("stopped"), _("interrupted"), _("complete"), _("open"),
    _("standard"), _("numbers"), _("short"),
    _("Mon"), _("Tue"), _("Wed"), _("Thu"), _("Fri"), _("Sat"), _("Sun"),
    _("care"), _("research"), _("given"), _("withdrawn"),
    _("house"), _("boat"), _("tree"), _("cup"), _("key"), _("star"), _("fish"), _("sun"),
    _("dizziness"), _("double or blurred vision"), _("pain"), _("tiredness"),
    _("trouble with arm or hand"), _("feeling sick or faint"), _("effort"),
    _("recent neck injury or surgery, an unstable neck, or a suspected torn neck artery"),
    _("eye, ear or brain surgery or a detached retina, not cleared yet"),
    _("the acute phase of a stroke, or another unstable medical state"),
    _("uncontrolled seizures, or seizures set off by light"),
    _("uncontrolled blood pressure"),
    _("a fracture, wound, lymphoedema, fragile skin or recent surgery of an arm"),
    _("severe pain"),
    _("a person who cannot consent, with no responsible adult present"),
)  # fmt: skip
