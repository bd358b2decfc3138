"""Everything the patient reads and hears, in one place. Short, neutral, no clock, no marks.

``_("...")`` marks a sentence for the catalogues of languages; its blanks have names.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from battery.recording import Hand
from battery.stage.language.languages import Text
from battery.stage.language.languages import Text as _

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

START_TITLE = _("Hello. Are you {code}?")
START_LINES = (_("Today is {day}. If this is not your picture, press Not me."),)
WAITING_LINE = _("Not yet handed over to the clinic: {count}.")
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
CALL_NUMBER = _("Call {number} now for any of these, or let somebody call:")
CALL_ANY = _("Call the emergency number now for any of these, or let somebody call:")
# The one list of `battery.cautions`, in plain words.
SIGNS = _(
    "Suddenly: a drooping face, a weak or numb arm or leg, trouble speaking or understanding, "
    "loss of sight, a very bad headache, loss of balance. Or a fit, fainting, confusion, chest "
    "pain."
)
HEAD_SIGNS = _(
    "After a blow to the head also: a headache that gets worse, vomiting again and again, "
    "being very drowsy, pupils of different size."
)
NOBODY_TOLD = _("This tablet calls nobody. Nobody has been told.")
RED_FLAGS_TITLE = _("Is one of these new?")
URGENT_TITLE = _("Call for help now")
URGENT_NUMBER = _("Call {number} now, or let somebody call.")
URGENT_ANY = _("Call the emergency number now, or let somebody call.")
NAMES: dict[str, Text] = {
    "tapping": _("Touching"),
    "slide": _("Sliding"),
    "pursuit": _("Following"),
    "trail": _("Connecting"),
}
WHAT_TO_DO: dict[str, tuple[Text, Text]] = {
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
GATE_TITLE = _("{name}: once more")
GATE_LINES = (
    _("Watch again, then try again. There is no hurry."),
    _("It is only a try. Nothing is counted."),
)
LEFT_OUT_TITLE = _("{name}: not today")
LEFT_OUT_LINES = (
    _("This part is left out. That is all right."),
    _("Please call your therapist about it when you are done."),
)
USED_TITLE = _("Which hand did you use?")
SURE_TITLE = _("It was your {hand}?")
SURE_LINES = (_("It is fine to say so. Your therapist will know."),)
REST_WAIT = _("The buttons come in a moment.")
STOPPED_TITLE = _("Stopped")
STOPPED_LINES = (_("That is all right. What you did is kept."),)
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

POSTURE_TITLE = _("Sit like this")
POSTURE_LINES = (
    _("Firm chair, feet on the floor, sleeves up, glasses as usual."),
    _("Tablet on its stand, an arm's length away."),
)
WEIGHT_TITLE = _("Is your wrist free of a weight?")
WEIGHT_LINES = (_("If you wear one, please take it off for the visit."),)
MEDICATION_TITLE = _("Medicine for your movement")
MEDICATION_LINES = (_("When did you last take it?"),)
MEDICATION: Mapping[str, Text] = {
    "none": _("I take none"),
    "under_1_h": _("Under 1 hour ago"),
    "1_to_2_h": _("1 to 2 hours ago"),
    "2_to_4_h": _("2 to 4 hours ago"),
    "over_4_h": _("Longer ago"),
}
SCALE_NOW = _("How is it right now? 0 is not at all, 10 is the most there is.")
SCALE_AFTER = _("And now, after the visit? 0 is not at all, 10 is the most there is.")
SYMPTOM_TITLES: Mapping[str, Text] = {
    "dizziness": _("Dizzy or spinning"),
    "vision": _("Seeing double or blurred"),
    "pain": _("Pain"),
    "fatigue": _("Tired"),
    "arm": _("Trouble with arm or hand"),
    "sickness": _("Sick or faint"),
}
EFFORT_TITLE = _("How hard was it?")
EFFORT_LINE = _("0 is not hard at all, 10 is as hard as can be.")
SETTLED_TITLE = _("After the last visit")
SETTLED_LINES = (_("You felt worse then. Was it gone within an hour?"),)
SETTLED_NO_LINES = (
    _("Please talk to your therapist before you go on."),
    _("You can end the visit now, or go on if your therapist has said so."),
)
HELPED_TITLE = _("Did anyone help you?")
HELPED_LINES = (_("By holding or moving your arm, or by pressing for you."),)
UNWELL_TITLE = _("What is worse?")
UNWELL_LINES = (_("Press what troubles you most."),)
PAUSE_TITLE = _("Rest for a while")
PAUSE_LINES = (
    _("Lean back, hands down, eyes closed if you like."),
    _("When you are ready we ask once more. You may also end the visit."),
)
ENOUGH_TITLE = _("Enough for today")
ENOUGH_LINES = (
    _("Sit and rest until you feel as before. Do not stand up quickly."),
    _("Tell your therapist before the next visit, today if it does not settle in an hour."),
    _("Press Help to see when to call at once."),
)
WARNINGS_TITLE = _("Before you start")
WARNINGS: Mapping[str, Text] = {
    "battery": _("The battery is low. Please plug in the tablet."),
    "disk": _("The tablet is nearly full. Please tell your therapist."),
    "clock": _("The date of the tablet looks odd. Please tell your therapist."),
}
WARNINGS_LINE = _("You can still go on.")
DONE_LINE = _("You did: {tasks}.")
DONE_TWO = _("{first}, {second}")
NUMBERS_TITLE = _("Your numbers")
NUMBERS_LINE = _("{task}, {hand}: {value} {unit}")
NUMBERS_NOTE = _("One visit says little. Your therapist looks at many together.")
CARD_WIDTH = _("Lay a bank card on the light. Make the light as wide as the card.")
CARD_HEIGHT = _("Now make the light as high as the card.")
CARD_CHANGED = _("The screen is new. Lay a bank card on the light and make it as wide.")
CARD_AGAIN = _("Once more, please: make the light as wide as the card.")
TIMING_TITLE = _("Draw circles")
TIMING_LINES = (
    _("Keep one finger on the glass and draw large circles until the page changes."),
)
STAFF_TITLE = _("For staff")
STAFF_LINES = (_("Type the code to leave the program."),)
STAFF_OPEN_LINES = (_("What was done is stored."),)

PRACTISED = _("I did my exercises")
EXERCISES_TITLE = _("Which exercises?")
EXERCISES: Mapping[str, Text] = {
    "all": _("All of them"),
    "some": _("Only one"),
    "head_turns": _("Head turns"),
    "rest_day": _("Rest day"),
    "timer": _("With a timer"),
}
HEAD_TURNS = EXERCISES["head_turns"]
WHICH_TITLE = _("Which one?")
ANOTHER = _("Another one")
NOTED_TITLE = _("Noted. Thank you.")
HOW_LONG_LINE = _("How long was it in all? You may leave this out.")
REST_DAY_LINE = _("A rest day counts too.")
MINUTES: Mapping[str, Text] = {
    "5": _("About 5 minutes"),
    "10": _("About 10 minutes"),
    "20": _("About 20 minutes"),
    "30": _("30 minutes or more"),
}
TAKE_BACK = _("Take it back")
TAKEN_BACK_TITLE = _("Taken back")
TAKEN_BACK_LINES = (_("Nothing is noted."),)
FELT_TITLE = _("Now dizzy, blurred, sick or in pain?")
FELT = (_("Not at all"), _("A little"), _("Clearly"), _("Very much"))
STRONG_LINES = (
    _("Sit and rest until you feel as before."),
    _("Tell your therapist before you do it again."),
    _("Press Help to see when to call at once."),
)
TIMER_TITLE = _("One minute for which?")
MINUTE_TITLE = _("One minute: {hand}")
MINUTE_LINES = (_("Press Start. A sound says when the minute is over."),)
MINUTE_SILENT_LINES = (_("Press Start. The page changes when the minute is over."),)
RUNS_LINE = _("It runs. You can end it at any time.")
OVER_TITLE = _("The minute is over")
SEEN_LINE = _("It is noted. Rest your arm.")
FINISH, ONCE_MORE, OTHER_ARM = _("Finish"), _("Once more"), _("Other arm")
HEAD_TITLE = _("Head turns: read this first")
HEAD_LINES = (
    _("Only as your therapist has shown you. Sit. Look at a spot on the wall."),
    _("Small, slow, easy turns. Slower if it blurs or doubles."),
    _("Stop if your neck hurts or you feel dizzy, sick or faint."),
    _("Ask a doctor first after a neck injury, or surgery on neck, eye, ear or brain."),
)
PACE_TITLE = _("Which pace?")
PACE_LINE = _("As you agreed with your therapist.")
PACES: Mapping[int, Text] = {
    40: _("40 a minute"),
    60: _("60 a minute"),
    80: _("80 a minute"),
    100: _("100 a minute"),
    120: _("120 a minute"),
}
NO_SOUND_TITLE = _("No sound here")
NO_SOUND_LINES = (_("This tablet gives no sound, so there is no beat."),)
SOUND_TITLE = _("Can you hear this well?")
SOUND_LINES = (_("Make it louder or softer until it is easy to hear."),)
SOFTER, LOUDER, NO_SOUND, GOOD = _("Softer"), _("Louder"), _("No sound"), _("Good so")
SAY_AGAIN = _("Say it again")
YES, NO, NOT_SURE, BACK, NONE_AT_ALL, AS_BEFORE, HELP, UNWELL = (
    _("Yes"),
    _("No"),
    _("Not sure"),
    _("Back"),
    _("Not at all"),
    _("As before"),
    _("Help"),
    _("I feel worse"),
)
WEIGHT_OFF, WEIGHT_ON, NO_CARD, FITS, NUMBERS, LEAVE = (
    _("No weight"),
    _("It stays on"),
    _("No card here"),
    _("It fits"),
    _("My numbers"),
    _("Leave the program"),
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
    START_TITLE: _("Hello. Is this you?"),
    START_LINES[0]: _("If this is not your picture, press Not me."),
    CALL_NUMBER: CALL_ANY,
    URGENT_NUMBER: URGENT_ANY,
    REST_LINES[0]: _("One more part is done."),
    DONE_LINE: _("What you did stands on the screen."),
}
# Words that are only ever a part of a text, and numbers, which are read and not spoken.
UNSPOKEN: frozenset[str] = frozenset(
    {*DAYS, *MONTHS, DAY, DONE_TWO, NUMBERS_LINE, WAITING_LINE}
)


def day_words(day: date) -> Text:
    """Say a day in words, as one does."""
    return DAY.format(weekday=DAYS[day.weekday()], number=day.day, month=MONTHS[day.month - 1])
