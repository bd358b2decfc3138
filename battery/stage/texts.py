"""Everything the patient reads, in one place. Short, neutral, no clock, no marks."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from battery.recording import Hand

DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)

START_TITLE = "Hello, {code}"
START_LINES = (
    "Today is {day}. If you are not {code}, press Not me.",
    "Sit in a firm chair, both feet on the floor.",
    "Tablet on the table. Glasses as usual, no weight on the wrist.",
)
AGAIN_TITLE = "Welcome back"
AGAIN_LINES = ("Part of this visit is done and kept.", "It goes on where it stopped.")
STOP_NOW_TITLE = "When to stop"
STOP_NOW_LINES = (
    "Stop if you feel dizzy, sick, faint or very tired, if something hurts, or if you see "
    "double or blurred. Rest, and tell your therapist.",
    "Press Stop at any time. Any key does the same.",
)
EMERGENCY_TITLE = "When to call for help"
EMERGENCY_LINES = (
    "Call the emergency number for a drooping face, new weakness or numbness, trouble "
    "speaking, sudden loss of sight, a very bad headache, a fit, fainting, confusion or "
    "chest pain.",
    "Nobody watches while you do this.",
)
NAMES: Mapping[str, str] = {
    "tapping": "Touching",
    "slide": "Sliding",
    "pursuit": "Following",
    "trail": "Connecting",
}
WHAT_TO_DO: Mapping[str, tuple[str, str]] = {
    "tapping": (
        "Hold the lower ring. Look at the new ring and wait.",
        "When it fills, lift and touch its middle.",
    ),
    "slide": (
        "Touch the upper disc. Then hold the lower one.",
        "Slide it to the side as far as is comfortable, and back.",
    ),
    "pursuit": (
        "Press the disc and keep your finger on it.",
        "It moves. Follow it with eyes and finger.",
    ),
    "trail": (
        "Press the filled circle. Slide on to the next in order.",
        "1, 2, 3 and so on. With letters: 1, A, 2, B.",
    ),
}
ACCURACY = "As exact as you can, then as quick as is comfortable. Head still."
HANDS: Mapping[Hand, str] = {"left": "LEFT hand", "right": "RIGHT hand"}
HAND_TITLE = "Now your {hand}"
HAND_LINE = "Use only this hand. Rest the other one on the table."
DEMO_TITLE = "{name}: watch first"
PRACTICE_TITLE = "{name}: a short try"
PRACTICE_LINE = "Try it with your {hand}."
TEST_TITLE = "{name}: now for the record"
TEST_LINE = "The same again with your {hand}."
MOMENT = "One moment."
REST_TITLE = "Rest"
REST_LINES = (
    "Part {done} of {all} is done.",
    "Put your hand down. Rest as long as you like.",
)
REST_WAIT = "The buttons come in a moment."
STOPPED_TITLE = "Stopped"
STOPPED_LINES = (
    "That is all right. What you did is kept.",
    "If you feel unwell, end the visit, rest, and tell your therapist.",
)
THANKS_TITLE = "Thank you"
THANKS_LINES = (
    "The visit is done and stored. Rest your hand.",
    "It is not a diagnosis. Your therapist looks at it with you.",
)
ENDED_LINES = ("The visit is ended. What you did is stored.",)
OTHER_TITLE = "Not you?"
OTHER_LINES = ("Please ask the person who set this up.", "Nothing was recorded.")
TROUBLE_TITLE = "It cannot go on"
TROUBLE_LINES = (
    "Something does not work. It is not your doing.",
    "What you finished is kept. Please tell your therapist.",
)

GO_ON, START, AGAIN, NEXT, END, CLOSE, NOT_ME, MORE, STOP = (
    "Go on",
    "Start",
    "Try again",
    "Next part",
    "End visit",
    "Close",
    "Not me",
    "More rest",
    "Stop",
)


def day_words(day: date) -> str:
    """Say a day in words, as one does."""
    return f"{DAYS[day.weekday()]}, {day.day} {MONTHS[day.month - 1]}"
