"""Everything the patient reads and hears, in one place. Short, neutral, no clock, no marks.

``_("...")`` marks a sentence for the catalogues of languages; its blanks have names.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from battery.recording import Hand
from battery.stage.language import Text
from battery.stage.language import Text as _

DAYS = (
    _("Monday"),
    _("Tuesday"),
    _("Wednesday"),
    _("Thursday"),
    _("Friday"),
    _("Saturday"),
    _("Sunday"),
)
MONTHS = (
    _("January"),
    _("February"),
    _("March"),
    _("April"),
    _("May"),
    _("June"),
    _("July"),
    _("August"),
    _("September"),
    _("October"),
    _("November"),
    _("December"),
)

START_TITLE = _("Hello, {code}")
START_LINES = (
    _("Today is {day}. If you are not {code}, press Not me."),
    _("Sit in a firm chair, both feet on the floor."),
    _("Tablet on the table. Glasses as usual, no weight on the wrist."),
)
AGAIN_TITLE = _("Welcome back")
AGAIN_LINES = (_("Part of this visit is done and kept."), _("It goes on where it stopped."))
STOP_NOW_TITLE = _("When to stop")
STOP_NOW_LINES = (
    _(
        "Stop if you feel dizzy, sick, faint or very tired, if something hurts, or if you see "
        "double or blurred. Rest, and tell your therapist."
    ),
    _("Press Stop at any time. Any key does the same."),
)
EMERGENCY_TITLE = _("When to call for help")
EMERGENCY_LINES = (
    _(
        "Call the emergency number for a drooping face, new weakness or numbness, trouble "
        "speaking, sudden loss of sight, a very bad headache, a fit, fainting, confusion or "
        "chest pain."
    ),
    _("Nobody watches while you do this."),
)
NAMES: Mapping[str, Text] = {
    "tapping": _("Touching"),
    "slide": _("Sliding"),
    "pursuit": _("Following"),
    "trail": _("Connecting"),
}
WHAT_TO_DO: Mapping[str, tuple[Text, Text]] = {
    "tapping": (
        _("Hold the lower ring. Look at the new ring and wait."),
        _("When it fills, lift and touch its middle."),
    ),
    "slide": (
        _("Touch the upper disc. Then hold the lower one."),
        _("Slide it to the side as far as is comfortable, and back."),
    ),
    "pursuit": (
        _("Press the disc and keep your finger on it."),
        _("It moves. Follow it with eyes and finger."),
    ),
    "trail": (
        _("Press the filled circle. Slide on to the next in order."),
        _("1, 2, 3 and so on. With letters: 1, A, 2, B."),
    ),
}
ACCURACY = _("As exact as you can, then as quick as is comfortable. Head still.")
HANDS: Mapping[Hand, Text] = {"left": _("LEFT hand"), "right": _("RIGHT hand")}
HAND_TITLE = _("Now your {hand}")
HAND_LINE = _("Use only this hand. Rest the other one on the table.")
DEMO_TITLE = _("{name}: watch first")
PRACTICE_TITLE = _("{name}: a short try")
PRACTICE_LINE = _("Try it with your {hand}.")
TEST_TITLE = _("{name}: now for the record")
TEST_LINE = _("The same again with your {hand}.")
MOMENT = _("One moment.")
REST_TITLE = _("Rest")
REST_LINES = (
    _("Part {done} of {all} is done."),
    _("Put your hand down. Rest as long as you like."),
)
REST_WAIT = _("The buttons come in a moment.")
STOPPED_TITLE = _("Stopped")
STOPPED_LINES = (
    _("That is all right. What you did is kept."),
    _("If you feel unwell, end the visit, rest, and tell your therapist."),
)
THANKS_TITLE = _("Thank you")
THANKS_LINES = (
    _("The visit is done and stored. Rest your hand."),
    _("It is not a diagnosis. Your therapist looks at it with you."),
)
ENDED_LINES = (_("The visit is ended. What you did is stored."),)
OTHER_TITLE = _("Not you?")
OTHER_LINES = (_("Please ask the person who set this up."), _("Nothing was recorded."))
TROUBLE_TITLE = _("It cannot go on")
TROUBLE_LINES = (
    _("Something does not work. It is not your doing."),
    _("What you finished is kept. Please tell your therapist."),
)

GO_ON, START, AGAIN, NEXT, END, CLOSE, NOT_ME, MORE, STOP = (
    _("Go on"),
    _("Start"),
    _("Try again"),
    _("Next part"),
    _("End visit"),
    _("Close"),
    _("Not me"),
    _("More rest"),
    _("Stop"),
)


DAY = _("{weekday}, {number} {month}")


# What is said in place of a text whose blanks cannot be spoken ahead.
SPOKEN: Mapping[str, Text] = {
    START_TITLE: _("Hello."),
    START_LINES[0]: _("A code stands on the screen. If it is not yours, press Not me."),
    REST_LINES[0]: _("One more part is done."),
}
# Words that are only ever a part of a text that is not spoken.
UNSPOKEN: frozenset[str] = frozenset({*DAYS, *MONTHS, DAY})


def day_words(day: date) -> Text:
    """Say a day in words, as one does."""
    return DAY.format(weekday=DAYS[day.weekday()], number=day.day, month=MONTHS[day.month - 1])
