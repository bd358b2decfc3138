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
SHORT_DAYS = (_("Mon"), _("Tue"), _("Wed"), _("Thu"), _("Fri"), _("Sat"), _("Sun"))
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
START_LINES = (_("Today is {day}. If this is not your picture, press “Not me”."),)
WAITING_LINE = _("Visits not yet sent to your clinic: {count}.")
AGAIN_TITLE = _("Welcome back")
AGAIN_LINES = (
    _("The first part of this visit is saved."),
    _("You carry on where you stopped."),
)
WELCOME_TITLE = _("Your visit")
WELCOME_LINE = _("{count} short parts, with rests. It takes about {minutes} minutes.")
WELCOME_ONE = _("One short part. It takes a few minutes.")
WHERE_BEFORE = _("Before the first part")
WHERE_PART = _("Part {number} of {all}")
LEAF = _("{number} of {all}")
WHERE_AFTER = _("After the last part")
STOP_NOW_LINES = (
    _(
        "Stop if you feel dizzy, sick, faint or very tired, if anything hurts, or if your "
        "vision is double or blurred. Then rest, and tell your therapist."
    ),
    _("You can press “Stop” at any time. The space bar of a keyboard does the same."),
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
RED_FLAGS_TITLE = _("Do you have any of these, and is it new?")
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
        _("Keep your finger on the lower ring. Look at the new one."),
        _("When it fills with colour, touch the middle of it."),
    ),
    "slide": (
        _("Touch the upper disc. Then put your finger on the lower one."),
        _("Slide it to the side as far as is comfortable, then back."),
    ),
    "pursuit": (
        _("Put your finger on the disc and keep it there."),
        _("The disc moves. Follow it with your eyes and your finger."),
    ),
    "trail": (
        _("Put your finger on the filled circle. Slide to the next one."),
        _("The order is 1, 2, 3. With letters it is 1, A, 2, B."),
    ),
}
REMINDERS: dict[str, Text] = {
    "tapping": _("Hold the ring. When the other one fills, touch its middle."),
    "slide": _("Touch the upper disc. Slide the lower one out and back."),
    "pursuit": _("Keep your finger on the disc. Follow it."),
    "trail": _("Slide from one to the next in order."),
}
ACCURACY = _(
    "Be as accurate as you can, then as quick as is comfortable. Keep your head still."
)
HANDS: Mapping[Hand, Text] = {"left": _("LEFT hand"), "right": _("RIGHT hand")}
HAND_LINE = _("Use only this hand. Let the other one rest on the table.")
WHAT_TITLE = _("{name}: what to do")
DEMO_TITLE = _("{name}: watch first")
WATCH = _("Show me")
PRACTICE_TITLE = _("{name}: your {hand}")
PRACTICE_LINE = _("First a short practice. It does not count.")
TEST_TITLE = _("{name}: this time it counts")
TEST_LINE = _("Do the same again with your {hand}.")
MOMENT = _("One moment.")
REST_TITLE = _("Rest")
REST_LINES = (
    _("Part {done} of {all} is done."),
    _("Put your hand down and rest as long as you like."),
)
GATE_TITLE = _("{name}: once more")
GATE_LINES = (
    _("Watch again, then try again. There is no hurry."),
    _("This is only practice. Nothing is counted."),
)
LEFT_OUT_TITLE = _("{name}: not today")
LEFT_OUT_LINES = (
    _("We skip this part today. That is all right."),
    _("Please call your therapist about it when you have finished."),
)
USED_TITLE = _("Which hand did you use?")
SURE_TITLE = _("Was it your {hand}?")
SURE_LINES = (_("It is fine to say so. Your therapist will see it."),)
REST_WAIT = _("The buttons will appear in a moment.")
STOPPED_TITLE = _("Stopped")
STOPPED_LINES = (_("That is all right. What you have done is saved."),)
THANKS_TITLE = _("Thank you")
THANKS_LINES = (
    _("The visit is finished and saved. You can rest your hand now."),
    _("This is not a diagnosis. Your therapist will go through it with you."),
)
ENDED_TITLE = _("Ended for now")
ENDED_LINES = (
    _("What you have done is saved."),
    _("You can carry on with this visit today, now or later."),
)
NOTHING_LINES = (_("No part was done today, so nothing was measured."),)
PARKED_TITLE = _("You can put the tablet away")
PARKED_LINES = (_("What you have done is saved."),)
AFTER_ALL = _("Carry on after all")
OTHER_TITLE = _("Not you?")
OTHER_LINES = (_("Please ask the person who set up this tablet."), _("Nothing was recorded."))
TROUBLE_TITLE = _("Something has stopped working")
TROUBLE_LINES = (
    _("The program has a problem. It is nothing you did."),
    _("What you finished is saved. Please tell your therapist."),
)
TROUBLE_NOTED = _("A note for the staff is kept on this tablet.")

POSTURE_TITLE = _("Please sit like this")
POSTURE_LINES = (
    _("Sit on a firm chair, feet flat, sleeves up, glasses as usual."),
    _("Put the tablet on its stand, an arm's length away."),
)
WEIGHT_TITLE = _("Do you have a weight on your wrist?")
WEIGHT_LINES = (_("If so, please take it off for this visit."),)
MEDICATION_TITLE = _("When did you last take your medicine?")
MEDICATION_LINES = (_("This means the medicine for your movement or tremor."),)
MEDICATION: Mapping[str, Text] = {
    "none": _("I take none"),
    "under_1_h": _("Less than 1 hour ago"),
    "1_to_2_h": _("1 to 2 hours ago"),
    "2_to_4_h": _("2 to 4 hours ago"),
    "over_4_h": _("More than 4 hours ago"),
}
SCALE_NOW = _("Right now: 0 is not at all, 10 the most you can imagine.")
SCALE_AFTER = _(
    "How is it now, after the visit? 0 means not at all, 10 means the most you can imagine."
)
SYMPTOM_TITLES: Mapping[str, Text] = {
    "dizziness": _("Are you dizzy, or is the room spinning?"),
    "vision": _("Is your vision double or blurred?"),
    "pain": _("Are you in pain?"),
    "fatigue": _("Do you feel tired?"),
    "arm": _("Is your arm or hand giving you trouble?"),
    "sickness": _("Do you feel sick or faint?"),
}
SYMPTOM_NAMES: Mapping[str, Text] = {  # as answers, where the titles ask
    "dizziness": _("Dizziness"),
    "vision": _("Double or blurred vision"),
    "pain": _("Pain"),
    "fatigue": _("Tiredness"),
    "sickness": _("Sickness or faintness"),
    "arm": _("Arm or hand trouble"),
}
TOLD = _("{name}: {value}")
EARLIER_LINE = _("Before the visit you said {number}.")
AS_LAST_TITLE = _("Is everything the same as last time?")
AS_LAST_MEDICINE = _("Medicine for your movement: {when}.")
AS_LAST_WEIGHT = _("No weight on your wrist.")
AS_LAST = _("Same as last time")
AS_BEFORE_TITLE = _("Do you feel as you did before the visit?")
DIFFERENT = _("Something is different")
EFFORT_TITLE = _("How hard was it?")
EFFORT_LINE = _("0 means not hard at all, 10 means as hard as it can be.")
SETTLED_TITLE = _("How did you feel after your last visit?")
SETTLED_LINES = (_("You felt worse at the end. Did that pass within an hour?"),)
SETTLED_NO_LINES = (
    _("Please talk to your therapist before you carry on."),
    _("You can end the visit now. Carry on only if your therapist has said so."),
)
HELPED_TITLE = _("Did anyone help you?")
HELPED_LINES = (_("For example by holding or moving your arm, or by pressing for you."),)
UNWELL_TITLE = _("What feels worse?")
UNWELL_LINES = (_("Press what troubles you most."),)
PAUSE_TITLE = _("Take a rest")
PAUSE_LINES = (
    _("Lean back and put your hands down. Close your eyes if you like."),
    _("When you are ready, we will ask you again. You can also end the visit."),
)
ENOUGH_TITLE = _("That is enough for today")
ENOUGH_LINES = (
    _("Stay seated and rest until you feel as you did before. Get up with care."),
    _(
        "Tell your therapist before your next visit. If it has not passed within an hour, tell "
        "them today."
    ),
    _("Press “Help” to see when to call for help at once."),
)
WARNINGS_TITLE = _("Before you start")
WARNINGS: Mapping[str, Text] = {
    "battery": _("The battery is low. Please plug in the tablet."),
    "disk": _("The tablet is nearly full. Please tell your therapist."),
    "clock": _("The date on the tablet does not look right. Please tell your therapist."),
}
WARNINGS_LINE = _("You can still carry on.")
DONE_LINE = _("You did: {tasks}.")
DONE_TWO = _("{first}, {second}")
NUMBERS_TITLE = _("Your numbers")
NUMBERS_LINE = _("{hand}: {numbers}")
NUMBER = _("{task} {value} {unit}")
DECIMAL = _("{whole}.{part}")
NUMBERS_NOTE = _("One visit alone says little. Your therapist looks at many visits together.")
CARD_WIDTH = _("Put a bank card on the coloured box. Make the box as wide as the card.")
CARD_HEIGHT = _("Now make the box as high as the card.")
CARD_CHANGED = _(
    "This screen is new. Put a bank card on the coloured box. Make the box as wide as the card."
)
CARD_AGAIN = _("Once more, please. Make the box as wide as the card.")
TIMING_TITLE = _("Draw circles")
TIMING_LINES = (
    _("Keep one finger on the screen and draw large circles until the page changes."),
)
STAFF_TITLE = _("For staff")
STAFF_LINES = (_("Enter the code to close the program."),)
STAFF_CODE_LINES = (_("Enter the code."),)
STAFF_OPEN_LINES = (_("Everything done so far is saved."),)

WHO_TITLE = _("Tap your picture")
WHO_ELSE = _("More people")
NOBODY_TITLE = _("Nobody uses this tablet yet")
NOBODY_LINES = (_("Please ask your clinic to set it up."),)
PERSON_DUE = _("{code}: your visit for this week")
PERSON_LATER = _("{code}: your next visit is from {day}")
PERSON_NONE = _("{code}: no visit is planned now")
VISIT_NOW = _("Start the visit")
LOOKS = _("How it looks and sounds")
TO_CLINIC = _("Send to the clinic")
NO_STICK_TITLE = _("Please plug in the clinic's stick")
NO_STICK_LINES = (_("Then press “Try again”. Nothing has been sent yet."),)
WHICH_STICK_TITLE = _("Which stick is the clinic's?")
SENDING_TITLE = _("Sending. Please leave the stick where it is.")
SENT_TITLE = _("It is on the stick")
SENT_LINE = _("You can pull the stick out and take it to your clinic.")
CONFIRMED_LINE = _("Visits newly confirmed by your clinic: {count}.")
NOT_CONFIRMED_LINE = _(
    "Visits that your clinic has not confirmed yet: {count}. They stay on this tablet too."
)
NOT_SENT_LINE = _("Could not be sent: {count}. Please tell your clinic.")
FAILED_TITLE = _("It could not be sent")
FAILED_LINES = (
    _("Nothing is lost. Everything stays on this tablet."),
    _("Try again, or use another stick. If it fails again, please tell your clinic."),
)
MEASURE = _("Measure the screen")
WRONG_LAST = _("The last problem")
WRONG_WHEN = _("{day}, {time}, page: {page}")
WRONG_WHAT = _("The program said: {what}")
WRONG_FILE = _("More about it: {file}, beside the records.")

NEW_PERSON = _("New person")
NO_CARD_FOUND_TITLE = _("No card for a new person was found")
NO_CARD_FOUND_LINE = _("Plug in the clinic's drive with the card and try again.")
WHICH_CARD_TITLE = _("Whose card?")
CARD_CODE_TITLE = _("Type the code on the card")
CARD_PICTURE_TITLE = _("{code}: is this the picture on the card?")
CARD_PICTURE_LINE = _("If it is a different one, stop here and ask your clinic.")
CARD_SAME, CARD_OTHER = _("It is this one"), _("It is a different one")
CARD_TAKEN_TITLE = _("{code} can use this tablet now")
CARD_REFUSED_TITLE = _("This card was not accepted")
NOT_CHANGED_LINE = _("Nothing was changed. Please ask your clinic.")
PAIR = _("Pair with the clinic")
NO_CLINIC_TITLE = _("No clinic card was found")
COMPARE_TITLE = _("Is this the same as on the clinic's card?")
MARK_LINE = _("{words} (digits: {digits})")
MARK_SAME, MARK_OTHER = _("It is the same"), _("It is different")
NOT_PAIRED_TITLE = _("Not paired")
PAIRED_TITLE = _("This tablet is paired")
PAIRED_LINE = _("The clinic compares this when it receives for the first time:")
DELETE = _("Delete")
NOT_SEEN = _("Not seen")
LOOP = _("Film the delay")
LOOP_TITLE = _("The delay from finger to light")
LOOP_LINES = (
    _(
        "You need a phone on a stand that films 120 frames a second or more, and a second "
        "person."
    ),
    _("Film the whole screen without a break until you are told to stop."),
    _("Start filming, then press “Continue”. A counter runs for 15 seconds."),
)
LOOP_TOUCH_TITLE = _("Now tap {count} times below the patch")
LOOP_LIFT_TITLE = _("Now lift your finger {count} times")
LOOP_READY_LINE = _(
    "Tap inside the ring, about once a second. Leave the finger on the glass for a moment each "
    "time. The number beside the patch shows how many."
)
LOOP_FEW_TITLE = _("That was not enough")
LOOP_FEW_LINE = _("At least {count} are needed. Keep filming and do them again.")
LOOP_READ_TITLE = _("Now stop filming and read the film")
LOOP_READ_LINES = (
    _("Leave this page open. Go through the film frame by frame and count the frames."),
    _("Light begins at the first frame in which the patch looks different."),
)
LOOP_READER_TITLE = _("Your initials")
LOOP_NUMBERS = (
    _("A number on the counter, near its start"),
    _("A number near the end of the counter"),
    _("Frames of the film from the first number to the second, each where it first appears"),
)
LOOP_ODD_TITLE = _("These numbers do not fit")
LOOP_ODD_LINE = _(
    "The counter ran from 0 to {count}. Take two numbers at least 2 seconds apart and count "
    "the frames between them again."
)
LOOP_CAMERA_TITLE = _("The camera films {rate} frames a second")
LOOP_CAMERA_LINE = _("If that is far from what the phone says, go back and count again.")
LOOP_FRAMES: Mapping[str, Text] = {
    "touch": _("Tap {number} of {all}: frames from the touch to the change"),
    "lift": _("Lift {number} of {all}: frames from lifting off to the change"),
}
LOOP_UNREAD_TITLE = _("That was not enough")
LOOP_UNREAD_LINE = _("Read at least {count}, each shorter than one second. Nothing was stored.")
LOOP_FOUND_TITLE = _("Saved")
LOOP_FOUND: Mapping[str, Text] = {
    "touch": _("Touch to light: {mean} ms, 95 % interval {low} to {high}."),
    "lift": _("Lift to light: {mean} ms, 95 % interval {low} to {high}."),
}
LOOP_KEPT_LINE = _("It is shown to the clinic beside the reaction time. Nothing is subtracted.")

HOME_PLAN = _("My exercises and days")
HOME_PLAN_TITLE = _("What you agreed for home")
HOME_PLAN_NONE = _("Nothing has been agreed here yet. Your therapist sets it.")
HOME_PLAN_LINE = _("{name}: {arms}, {minutes} min, {times} a day, {days}. {target}. {weight}.")
HOME_ARMS: Mapping[str, Text] = {
    "both": _("each arm"),
    "left": _("left arm"),
    "right": _("right arm"),
}
HOME_TARGET: Mapping[str, Text] = {"near": _("Near target"), "wall": _("Target on the wall")}
HOME_WEIGHT = _("{grams} g on the wrist")
HOME_NO_WEIGHT = _("No weight")
EVERY_DAY = _("every day")
ONCE, TIMES = _("once"), _("{count} times")
HOME_CAUTION = _("Stop if anything hurts, or if you feel dizzy, sick or faint.")
MY_DAYS = _("My days")
DAYS_TITLE = _("The last two weeks")
DAYS_LINE = _("Filled: you noted exercise. Ring: you noted a rest day.")
REMIND_TITLE = _("{code}: time for your exercises, as agreed")
REMIND_LINE = _("You can also do them later, or leave them out today.")
LATER = _("Later")
FELT_BEFORE_LINE = _("Please answer before you start.")
CLEAR_TITLE = _("Up to which beat did the spot stay clear?")
CLEAR_LINE = _("Say what you saw. There is no right answer.")
CLEAR_NONE = _("At none of them")
PRACTISED = _("I did my exercises")
EXERCISES_TITLE = _("Which exercises did you do?")
EXERCISES: Mapping[str, Text] = {
    "all": _("All of them"),
    "some": _("Just one of them"),
    "head_turns": _("Head turns"),
    "rest_day": _("Rest day"),
    "timer": _("With a timer"),
}
HEAD_TURNS = EXERCISES["head_turns"]
WHICH_TITLE = _("Which one did you do?")
ANOTHER = _("A different one")
NOTED_TITLE = _("Saved. Thank you.")
HOW_LONG_LINE = _("How long did you exercise in all? You can skip this.")
REST_DAY_LINE = _("A rest day counts too.")
MINUTES: Mapping[str, Text] = {
    "5": _("About 5 minutes"),
    "10": _("About 10 minutes"),
    "20": _("About 20 minutes"),
    "30": _("30 minutes or more"),
}
TAKE_BACK = _("Undo this")
TAKEN_BACK_TITLE = _("That is undone")
TAKEN_BACK_LINES = (_("Nothing is saved."),)
FELT_TITLE = _("Any dizziness, blurred vision, sickness or pain now?")
FELT = (_("Not at all"), _("A little"), _("Quite a lot"), _("Very much"))
STRONG_LINES = (
    _("Sit and rest until you feel as you did before."),
    _("Tell your therapist before you do it again."),
    _("Press “Help” to see when to call for help at once."),
)
TIMER_TITLE = _("One minute for which exercise?")
MINUTE_TITLE = _("One minute: {hand}")
MINUTE_LINES = (_("Press “Start”. A sound tells you when the minute is over."),)
MINUTE_SILENT_LINES = (_("Press “Start”. The page changes when the minute is over."),)
RUNS_LINE = _("The minute is running. You can end it at any time.")
OVER_TITLE = _("The minute is over")
SEEN_LINE = _("It is saved. Rest your arm.")
FINISH, ONCE_MORE, OTHER_ARM = _("Finish"), _("Once more"), _("The other arm")
HEAD_TITLE = _("Head turns: read this first")
HEAD_LINES = (
    _(
        "Do these only as your therapist has shown you. Sit down and look at a spot on the "
        "wall."
    ),
    _("Make small, slow, easy turns. Go slower if the spot blurs or doubles."),
    _("Stop if your neck hurts or you feel dizzy, sick or faint."),
    _(
        "Ask a doctor first if you have had a neck injury, or surgery on your neck, eye, ear "
        "or brain."
    ),
)
PACE_TITLE = _("How quick should the beat be?")
PACE_LINE = _("Choose what you agreed with your therapist.")
PACES: Mapping[int, Text] = {
    40: _("40 a minute"),
    60: _("60 a minute"),
    80: _("80 a minute"),
    100: _("100 a minute"),
    120: _("120 a minute"),
}
NO_SOUND_TITLE = _("There is no sound")
NO_SOUND_LINES = (_("This tablet makes no sound, so you will hear no beat."),)
SOUND_TITLE = _("Can you hear this well?")
SOUND_LINES = (_("Make it louder or quieter until you can hear it easily."),)
SOFTER, LOUDER, NO_SOUND, GOOD = _("Quieter"), _("Louder"), _("No sound"), _("That is right")
TURN_TITLE = _("Please turn the tablet on its side")
TOO_SMALL_TITLE = _("This screen is too small")
TURN_LINES = (_("The pages do not fit like this. Turn it and you carry on."),)
TOO_SMALL_LINES = (_("The pages do not fit here."),)
NOTHING_RECORDED = _("Nothing was recorded.")
OTHER_SCREEN_TITLE = _("This is another screen")
OTHER_SCREEN_LINES = (
    _("This visit began on another screen. Go back to that one to carry on."),
)
SETTINGS_TITLE = _("Press what you want to change")
LANGUAGE_IS = _("Language: {name}")
WORDS_ARE = _("Words: {percent} %")
COLOURS_ARE: Mapping[str, Text] = {
    "light": _("Colours: light"),
    "dark": _("Colours: dark"),
    "dim": _("Colours: dim"),
}
BUTTONS_ARE: Mapping[Hand, Text] = {
    "left": _("Buttons for the left hand"),
    "right": _("Buttons for the right hand"),
}
SOUND = _("Sound")
QUIET_TITLE = _("No sound from now on?")
QUIET_LINES = (_("You can bring it back on the first page: press Aa, then Sound."),)
SAY_AGAIN = _("Say it again")
YES, NO, NOT_SURE, BACK, AS_BEFORE, HELP, UNWELL = (
    _("Yes"),
    _("No"),
    _("I am not sure"),
    _("Back"),
    _("Same as before"),
    _("Help"),
    _("I feel worse"),
)
WEIGHT_OFF, WEIGHT_ON, NO_CARD, FITS, NUMBERS, LEAVE = (
    _("No weight"),
    _("It stays on"),
    _("I have no card"),
    _("It fits"),
    _("My numbers"),
    _("Close the program"),
)

GO_ON, START, AGAIN, NEXT, END, CLOSE, NOT_ME, MORE, STOP = (
    _("Continue"),
    _("Start"),
    _("Try again"),
    _("Next part"),
    _("End the visit"),
    _("Close"),
    _("Not me"),
    _("Rest longer"),
    _("Stop"),
)


DAY = _("{weekday}, {number} {month}")


# What is said in place of a text whose blanks cannot be spoken ahead.
SPOKEN: Mapping[str, Text] = {
    START_TITLE: _("Hello. Is this you?"),
    START_LINES[0]: _("If this picture is not yours, press “Not me”."),
    CALL_NUMBER: CALL_ANY,
    URGENT_NUMBER: URGENT_ANY,
    REST_LINES[0]: _("One more part is done."),
    PERSON_DUE: _("Your visit for this week"),
    PERSON_LATER: _("Your next visit is later. The day is on the screen."),
    PERSON_NONE: _("No visit is planned now"),
    CONFIRMED_LINE: _("Your clinic has confirmed visits."),
    NOT_CONFIRMED_LINE: _("Your visits stay on this tablet too."),
    NOT_SENT_LINE: _("Something could not be sent. Please tell your clinic."),
    WELCOME_LINE: _("There are some short parts, with rests."),
    EARLIER_LINE: SCALE_AFTER,
    LANGUAGE_IS: _("Language"),
    WORDS_ARE: _("Size of the words"),
    AS_LAST_MEDICINE: _("What you said last time is on the screen."),
    DONE_LINE: _("What you did is on the screen."),
    HOME_PLAN_LINE: _("What you agreed is on the screen."),
    REMIND_TITLE: _("It is time for your exercises, as agreed."),
}
# For staff, who read them.
FOR_STAFF: tuple[Text, ...] = (
    WRONG_LAST,
    WRONG_WHEN,
    WRONG_WHAT,
    WRONG_FILE,
    NEW_PERSON,
    NO_CARD_FOUND_TITLE,
    NO_CARD_FOUND_LINE,
    WHICH_CARD_TITLE,
    CARD_CODE_TITLE,
    CARD_PICTURE_TITLE,
    CARD_PICTURE_LINE,
    CARD_SAME,
    CARD_OTHER,
    CARD_TAKEN_TITLE,
    CARD_REFUSED_TITLE,
    NOT_CHANGED_LINE,
    PAIR,
    NO_CLINIC_TITLE,
    COMPARE_TITLE,
    MARK_LINE,
    MARK_SAME,
    MARK_OTHER,
    NOT_PAIRED_TITLE,
    PAIRED_TITLE,
    PAIRED_LINE,
    DELETE,
    NOT_SEEN,
    LOOP,
    LOOP_TITLE,
    *LOOP_LINES,
    LOOP_TOUCH_TITLE,
    LOOP_LIFT_TITLE,
    LOOP_READY_LINE,
    LOOP_FEW_TITLE,
    LOOP_FEW_LINE,
    LOOP_READ_TITLE,
    *LOOP_READ_LINES,
    LOOP_READER_TITLE,
    *LOOP_NUMBERS,
    LOOP_ODD_TITLE,
    LOOP_ODD_LINE,
    LOOP_CAMERA_TITLE,
    LOOP_CAMERA_LINE,
    *LOOP_FRAMES.values(),
    LOOP_UNREAD_TITLE,
    LOOP_UNREAD_LINE,
    LOOP_FOUND_TITLE,
    *LOOP_FOUND.values(),
    LOOP_KEPT_LINE,
)
# Words that are only ever a part of a text, and numbers, which are read and not spoken.
UNSPOKEN: frozenset[str] = frozenset(
    {
        *DAYS,
        *SHORT_DAYS,
        *MONTHS,
        DAY,
        DONE_TWO,
        NUMBERS_LINE,
        NUMBER,
        DECIMAL,
        WAITING_LINE,
        WHERE_BEFORE,
        WHERE_PART,
        WHERE_AFTER,
        LEAF,
        TOLD,
        *SYMPTOM_NAMES.values(),
        *REMINDERS.values(),
        *HOME_ARMS.values(),
        *HOME_TARGET.values(),
        HOME_WEIGHT,
        HOME_NO_WEIGHT,
        EVERY_DAY,
        ONCE,
        TIMES,
        *FOR_STAFF,
    }
)


def number_words(told: str) -> str:
    """Return a number with the decimal sign of the language it will be shown in."""
    whole, point, part = told.partition(".")
    return DECIMAL.format(whole=whole, part=part) if point else told


def day_words(day: date) -> Text:
    """Say a day in words, as one does."""
    return DAY.format(weekday=DAYS[day.weekday()], number=day.day, month=MONTHS[day.month - 1])
