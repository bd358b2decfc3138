"""What list, page and errors say, told again in the desk's language.

Verdicts, flags and alarms are worded once, in English, by the modules that judge; the page and
the note are kept so. Here each of their sentences is taken apart by the form it was made in,
and put together in the other language. What has no form here stays as it was, so that nothing
is ever said that was not.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from functools import cache, lru_cache

from battery.desk import told_errors
from battery.desk.words import _, catalogue

# Forms with blanks: {n} a number, {day} a day, {q} what stands in quotation marks, {field} the
# name of one, {own} words of a person; they stay as they are. {why} is told where it has a form
# of its own, any other part must have one. The first form that fits is taken.
FORMS = (
    _("{what}; acknowledged by {own} on {day}"),
    _("{what}; acknowledged by {own} on {day}: {note}"),
    _("visit {n}, {day}: {what}"),
    _("{own}, {day}: {what}, in a bundle that waits"),
    _("{own} cannot be read; whether it holds an alarm is not known"),
    "{day}: {what}",
    _("fall: {own}"),
    _("ask a clinician first: {what}"),
    _("not known whether {what}"),
    _("a new emergency sign was answered {what}"),
    _("{what} rose by {n}"),
    _("{what} {n} of 10"),
    _("left out by {own}"),
    _("left: {what}"),
    _("right: {what}"),
    _("both hands: {what}"),
    _("Left hand, {what}"),
    _("Right hand, {what}"),
    _("{what}, since visit {n}"),
    _("{what} together; {more}"),
    _("All tasks together: {what}"),
    _("Touching targets: {what}"),
    _("Sliding: {what}"),
    _("Following: {what}"),
    _("Connecting: {what}"),
    _("End-point error: {what}"),
    _("Jitter across the track: {what}"),
    _("Tracking error: {what}"),
    _("Time per link: {what}"),
    _("not enough comparable visits ({what})"),
    _("no verdict yet ({what})"),
    _("no visit that counts ({what})"),
    _("new series, {what}: {more}"),
    _("another device ({own})"),
    _("another kind of pointer ({own})"),
    _("another wrist weight ({own})"),
    _("{n} of the {m} visits that make the baseline"),
    _("Counted though doubtful: {what}"),
    _("visit {numbers} ({what})"),
    _("visits {numbers} ({what})"),
    _("led by {what}: {n} % of the change"),
    _("without {what}"),
    _("touching targets: {what}"),
    _("sliding: {what}"),
    _("following: {what}"),
    _("connecting: {what}"),
    _(
        "possible change; repeat the visit within {n} days, both then count as one by "
        "their mean"
    ),
    _("possibly {what}"),
    "{n} % {what}",
    _("better, {what}"),
    _("worse, {what}"),
    _("{what}, better"),
    _("{what}, worse"),
    _("{what} better"),
    _("{what} worse"),
    _("{what} changed"),
    _("1 complete baseline; at least {m} people are needed"),
    _("{n} complete baselines; at least {m} people are needed"),
    *told_errors.FORMS,
)
# Sentences without blanks; those of symptoms, cautions and tasks stand in `words`.
WHOLE = (
    _("no verdict yet"), _("within error: no change shown"), _("no change shown"),
    _("better, beyond error"), _("worse, beyond error"), _("better or learnt, beyond error"),
    _("better: possible, repeat"), _("worse: possible, repeat"),
    _("better or learnt: possible, repeat"), _("beyond error"), _("possible, repeat"),
    _("better"), _("worse"), _("changed"), _("more exact"), _("less exact"), _("steadier"),
    _("shakier"), _("faster"), _("slower"), _("more affected"), _("less affected"),
    _("Left hand"), _("Right hand"), _("Not tested yet"),
    _("within measurement error: no change shown"),
    _("possible change, and the repeat visit agrees; go on weekly"),
    _("larger than measurement error over the visits since baseline"),
    _("faster but less exact"), _("more exact but slower"), _("faster and more exact"),
    _("slower and less exact"),
    _("Learning the test may explain this; no rule tells slow learning from change."),
    _("This was reported earlier and still stands; the latest visit lies within error."),
    _("Both hands moved to the worse side: tiredness, medication, light or the way the test "
      "was done may explain it."),
    _("Both hands moved to the better side: learning the test, medication or the way the "
      "test was done may explain it."),
    _("no visit that counts"), _("not done yet"), _("not done"), _("not scored"), _("in part"),
    _("no visit after the baseline yet"), _("a value of 0 has no logarithm"),
    _("another task"), _("the other hand"), _("another plan"), _("another device"),
    _("another size of the picture"), _("another kind of pointer"), _("another wrist weight"),
    _("another version of the test"), _("another version of the scoring"),
    _("wrist weight on"), _("wrist weight off"),
    _("damaged, not what was stored"),
    _("touching targets"), _("sliding"), _("following"), _("connecting"),
    _("all tasks together"), _("end-point error"), _("jitter across the track"),
    _("tracking error"), _("time per link"), _("movement time"), _("tracking delay"),
    _("speed"), _("errors"), _("the visits do not differ at all, so nothing can be said"),
    # alarms
    _("yes"), _("yes, then no"), _("ended unwell"),
    _("what rose the time before had not settled"), _("a fall"),
    _("strong symptoms before home exercise"), _("strong symptoms after home exercise"),
    _("consent to research use is withdrawn"),
    # flags by name, as the list says them
    _("interrupted"), _("stopped"), _("input type mixed"), _("stopped symptom"),
    _("hand mismatch"), _("hand uncertain"), _("helped"), _("weight on"), _("off window"),
    _("off phase"), _("clock odd"), _("few trials"), _("rather few trials"),
    _("scale unverified"), _("trail not finished"), _("contact lost"), _("low rate"),
    _("queued reports"), _("coarse pixels"), _("position jumps"), _("slow frames"),
    _("wide stamps"), _("multi touch"), _("guessing"), _("late fatigue"), _("floor ceiling"),
    _("below floor"), _("layout repeat"), _("device changed"), _("version changed"),
    _("learning"),
    # flags as a reason
    _("the block was broken off"), _("the person stopped the block"),
    _("finger and mouse were mixed"), _("a symptom rose by 3 or more in the visit"),
    _("the person said it was the other hand"),
    _("the person was not sure which hand it was"),
    _("somebody helped with arm or presses"), _("too few trials were kept"),
    _("the screen was never measured"), _("another device, scale or pointer than before"),
    _("done or scored by another version"),
)  # fmt: skip
# Several of a kind in one form are numbered: {own}, {own2}.
_BLANKS = {
    "n": r"[−+-]?\d+(?:\.\d+)?(?:e[+-]?\d+)?",
    "m": r"\d+",
    "q": r"'(?:[^'\\]|\\.)*'|\"(?:[^\"\\]|\\.)*\"",
    "day": r"\d{4}-\d\d-\d\d",
    "field": r"[A-Za-z_][\w.]*",
    "path": r"[A-Za-z_]\w*(?:\.\w+)+",
    "numbers": r"\d[\d, to]*",
}
AS_IT_IS = frozenset({*_BLANKS, "own", "note"})
WHERE_KNOWN = "why"
_JOINTS = (". ", "; ", ", ")
_CLOSED = re.compile(
    r"(?P<begin>.+)(?P<joint>[.;] )(?P<end>(?:[Nn]othing|[Nn]obody) was [a-z]+\.?)", re.DOTALL
)  # how an error ends


def retold(text: str, code: str, unknown: Callable[[str], object] = lambda _text: None) -> str:
    """Return a sentence of list or page in a language.

    Parameters
    ----------
    text : str
        As it was worded in English.
    code : str
        Of the language.
    unknown : callable, optional
        Told each part that has no form here and stays in English.
    """
    if code == "en" or not text:
        return text
    told = _retold(text, code)
    if told is None:
        unknown(text)
        return text
    return told


@lru_cache(4096)
def _retold(text: str, code: str) -> str | None:
    if (whole := _whole(text, code)) is not None:
        return whole
    if (found := _CLOSED.fullmatch(text)) is not None:  # else a blank would take the end in
        begin, end = (_retold(found[part], code) for part in ("begin", "end"))
        if begin is not None and end is not None:
            return begin + found["joint"] + end
    for form, sure, pattern in _patterns():
        if sure not in text or (found := pattern.fullmatch(text)) is None:
            continue
        parts = {name: _part(name, part, code) for name, part in found.groupdict().items()}
        if None not in parts.values():
            return catalogue(code).gettext(form).format(**parts)
    for joint in _JOINTS:
        if joint in text:
            several = [_retold(part, code) for part in text.split(joint)]
            if None not in several:
                return joint.join(part for part in several if part)
    if text.endswith("."):
        told = _retold(text[:-1], code)
        return None if told is None else f"{told}."
    lower = text[:1].lower() + text[1:]
    if lower != text:
        told = _retold(lower, code)
        return None if told is None else told[:1].upper() + told[1:]
    return None


def _part(name: str, part: str, code: str) -> str | None:
    """Return what fills a blank."""
    if name == "numbers":
        return part.replace(" to ", "\N{EN DASH}")
    if (kind := _kind(name)) in AS_IT_IS:
        return part
    told = _retold(part, code)
    return part if told is None and kind == WHERE_KNOWN else told


def _kind(name: str) -> str:
    return name.rstrip("23456789")


def _whole(text: str, code: str) -> str | None:
    """Return a text that stands in the catalogue as it is."""
    told = catalogue(code).gettext(text)
    return None if told == text else told


@cache
def _patterns() -> tuple[tuple[str, str, re.Pattern[str]], ...]:
    """Return each form, the longest text in it, which is quickly looked for, and a pattern."""
    return tuple(
        (
            form,
            max(re.split(r"\{\w+\}", form), key=len),
            re.compile("".join(_parts(form)), re.DOTALL),
        )
        for form in FORMS
    )


def _parts(form: str) -> Iterator[str]:
    """Give a form as a pattern, piece by piece."""
    for place, piece in enumerate(re.split(r"\{(\w+)\}", form)):
        yield (
            f"(?P<{piece}>{_BLANKS.get(_kind(piece), '.+')})" if place % 2 else re.escape(piece)
        )
