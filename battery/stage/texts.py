"""Everything the patient reads, in one place. Short, neutral, no clock, no marks."""

from __future__ import annotations

from collections.abc import Mapping

from battery.recording import Hand

START_TITLE = "Hello"
START_LINES = (
    "This is the visit of {code}. If that is not you, press Not me.",
    "Sit in a firm chair, feet on the floor. The tablet stands on the table.",
    "Glasses as usual. No weight on the wrist.",
)
CAUTION_TITLE = "Before you begin"
CAUTION_LINES = (
    "Stop when you feel dizzy, sick, faint, in pain or unusually tired, or see double or "
    "blurred. Rest, and tell your therapist.",
    "Call the emergency number for a drooping face, new weakness, trouble speaking, "
    "sudden loss of sight, a sudden severe headache, a fit or chest pain.",
    "This is not a diagnosis. Nobody watches while you do it.",
    "You can stop at any time: press Stop, or any key.",
)
NAMES: Mapping[str, str] = {
    "tapping": "Touching",
    "slide": "Sliding",
    "pursuit": "Following",
    "trail": "Connecting",
}
WHAT_TO_DO: Mapping[str, tuple[str, str]] = {
    "tapping": (
        "Hold the lower ring. Look at the new ring. Wait.",
        "When it fills, lift and touch its middle.",
    ),
    "slide": (
        "Touch the upper disc. Then hold the lower one.",
        "Slide it to the side as far as is comfortable, and back.",
    ),
    "pursuit": (
        "Press the disc and keep your finger on it.",
        "It moves. Let your eyes and finger follow.",
    ),
    "trail": (
        "Press the filled circle. Slide to the next in order.",
        "1, 2, 3 and so on. With letters: 1, A, 2, B.",
    ),
}
ACCURACY = "As exact as you can, then as quick as is comfortable. Keep your head still."
HANDS: Mapping[Hand, str] = {"left": "LEFT hand", "right": "RIGHT hand"}
USE_HAND = "Use only your {hand} for the next part."
DEMO_TITLE = "{name}: watch first"
PRACTICE_TITLE = "{name}: a short try"
PRACTICE_LINE = "First a short try with your {hand}."
TEST_TITLE = "{name}: now for the record"
TEST_LINE = "The same again with your {hand}, about a minute."
REST_TITLE = "Rest"
REST_LINES = ("Put your hand down. Rest as long as you like.", "Go on when you are ready.")
REST_WAIT = "The button comes in a moment."
STOPPED_TITLE = "Stopped"
STOPPED_LINES = (
    "That is all right. What you did is kept.",
    "If you feel unwell: rest, and tell your therapist.",
)
THANKS_TITLE = "Thank you"
THANKS_LINES = ("The visit is done and stored.", "You did {n} parts. Rest your hand.")
ENDED_LINES = ("The visit is ended. What you did is stored.",)
OTHER_TITLE = "Not you?"
OTHER_LINES = ("Please ask the person who set this up.", "Nothing was recorded.")

GO_ON, START, AGAIN, END, NOT_ME, MORE = (
    "Go on",
    "Start",
    "Show again",
    "End the visit",
    "Not me",
    "More rest",
)
