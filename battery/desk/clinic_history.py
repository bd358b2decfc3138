"""What was said of the whole clinic and of nobody in it, in order of time, with its author."""

from __future__ import annotations

from collections.abc import Iterator

from battery.alarms import SAID
from battery.clinic_changes import OTHER, ClinicChange, clinic_changes
from battery.desk.comfort_form import OFFERED
from battery.desk.history import Said
from battery.desk.retelling import retold
from battery.desk.told_words import Say, in_language
from battery.desk.words import _
from battery.report.combined import measure_words
from battery.report.outside_errors import Change, changes, size_words
from battery.store import Store
from battery.store.settings import WITHOUT_CONSENT

SETTINGS = {
    "emergency_number": _("emergency number"),
    "show_scores": _("people are offered their own numbers after a visit"),
    "large": _("larger buttons and letters on the start page"),
    "machine": _("what opens on this machine"),
}
MACHINES = {"tablet": _("the tablet's start page"), "clinic": _("the desk")}
STAFF_CODE = (_("staff code taken away"), _("staff code set"), _("another staff code set"))
AT_DESK = (
    _("{who} is off the list of this desk"),
    _("{who} may use this desk"),
    _("{who} has another code at this desk"),
)
TABLET = (
    _("tablet {mark} ({device}) no longer accepted"),
    _("tablet {mark} ({device}) accepted"),
)
NAMES = (_("names on this machine deleted"), _("names are kept on this machine"))
ON_OFF = {"on": _("yes"), "off": _("no"), "yes": _("yes")}


def history_of_clinic(store: Store, *, language: str = "en") -> list[Said]:
    """List what was said of the whole clinic and of nobody in it, the newest first."""
    say = in_language(language)
    rows = [
        *_of_errors(store, say, language),
        *_of_tablets(store, say),
        *_of_exports(store, say),
        *(Said(c.at_utc, c.author, change_told(c, say)) for c in clinic_changes(store)),
    ]
    return sorted(rows, key=lambda row: row.at_utc)[::-1]  # also of one moment


def _of_errors(store: Store, say: Say, language: str) -> Iterator[Said]:
    for change in changes(store.annotations.outside_errors()):
        line = outside_error_told(change, say, language)
        yield Said(change.new.at_utc, change.new.author, line)


def _of_tablets(store: Store, say: Say) -> Iterator[Said]:
    """Give which tablets were accepted before that was noted as a change."""
    noted = {change.what for change in clinic_changes(store)}
    for tablet in store.transfer.tablets():
        if f"tablet:{tablet.fingerprint}" not in noted:
            line = say(TABLET[1], mark=tablet.fingerprint, device=tablet.device)
            yield Said(tablet.accepted_utc, tablet.author, line)


def _of_exports(store: Store, say: Say) -> Iterator[Said]:
    """Give who exported whom without consent to research use."""
    for at_utc, author, why, codes in store.setup.setting(WITHOUT_CONSENT, []):
        line = say(_("exported without consent to research use: {codes}"), codes=codes)
        yield Said(at_utc, author, f"{line}; {why}" if why else line)


def change_told(change: ClinicChange, say: Say) -> str:
    """Say in one line what was changed; a setting of a later program goes by its name."""
    kind, _colon, which = change.what.partition(":")
    step = 0 if not change.new else 2 if change.new == OTHER else 1
    if kind == "staff_code":
        return say(STAFF_CODE[step])
    if kind == "desk":
        return say(AT_DESK[step], who=which)
    if kind == "names":
        return say(NAMES[min(step, 1)])
    if kind == "tablet":
        device = change.new or change.old
        return say(TABLET[min(step, 1)], mark=which, device=device)
    if kind == "limit":
        what = say(_("alarm limit for {question}"), question=say(SAID.get(which, which)))
    elif kind == "comfort":
        label = say(OFFERED[which][0]) if which in OFFERED else which
        what = say(_("for everybody: {what}"), what=label)
    else:
        what = say(SETTINGS.get(kind, kind))
    return f"{what}: {_value(change, change.new, say)}{_was(change, say)}"


def _was(change: ClinicChange, say: Say) -> str:
    return say(_(" (was {old})"), old=_value(change, change.old, say)) if change.old else ""


def _value(change: ClinicChange, value: str, say: Say) -> str:
    """Say a value; only words of the program are translated."""
    kind, _colon, which = change.what.partition(":")
    if not value:
        return say(_("no") if kind in ("show_scores", "large") else _("not set"))
    if kind == "machine":
        return say(MACHINES.get(value, value))
    if kind in ("emergency_number", "limit"):
        return value
    if which.endswith("_percent"):
        return f"{value} %"
    offered = dict(OFFERED[which][1]) if which in OFFERED else ON_OFF
    return say(offered.get(value, value))


def outside_error_told(change: Change, say: Say, language: str) -> str:
    """Say which error of a measure came from outside, or went again, and what held before."""
    new, old = change.new, change.old
    measure = retold(measure_words(new.measure), language)
    was = say(_(" (was {old})"), old=f"{size_words(old)}, {old.source}") if old else ""
    if new.sem is None:
        return say(_("error from outside taken back, {measure}{was}"), measure=measure, was=was)
    count = _(", 1 person") if new.n_people == 1 else _(", {n} people")
    people = say(count, n=new.n_people) if new.n_people else ""
    return say(
        _("error from outside, {measure}: {size}{people}, {source}{was}"),
        measure=measure, size=size_words(new), people=people, source=new.source, was=was,
    )  # fmt: skip
