"""Home exercise: what was done in two taps, a timer for one minute, a beat for head turns.

Here a dose is kept and how it felt, and nothing is scored. What was said is stored with the
second tap; what follows may be left out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from typing import Protocol

from battery.moments import utc_text
from battery.recording import HANDS, Hand
from battery.stage.drawing.hands import HandsPicture
from battery.stage.drawing.places import Button
from battery.stage.language import texts
from battery.stage.language.languages import Text
from battery.stage.pages.builder import BACK, Maker, Next
from battery.stage.pages.page import Page
from battery.stage.pages.timed import Minute, TimedPage
from battery.stage.screen.sound import Sound
from battery.store import Exercise, HomeExercise, HomeExerciseHand

MIN_S = 5.0  # a timer that was ended sooner has seen nothing
STRONG = 3
CLOSE = Button("end", texts.CLOSE, "right")
EXERCISES: dict[str, Exercise] = {
    "tapping": "tapping",
    "slide": "slide",
    "pursuit": "pursuit",
    "trail": "trail",
    "other": "other",
}
MINUTES = {"5": 5.0, "10": 10.0, "20": 20.0, "30": 30.0}


class Diary(Protocol):
    """Where entries are kept."""

    def put_home_exercise(self, practice: HomeExercise) -> None:
        """Keep an entry, in place of one with the same identifier."""

    def take_back_home_exercise(self, practice_id: str) -> None:
        """Take an entry away."""


class HomeExercisePages:
    """The pages of home exercise.

    Parameters
    ----------
    make : Maker
    sound : Sound
    diary : Diary
    person : str
        Code of the person.
    now : callable
        Returns the wall clock with its zone; an entry belongs to the local day.
    new_id : callable
        Returns an identifier for an entry.
    """

    def __init__(
        self,
        make: Maker,
        sound: Sound,
        diary: Diary,
        *,
        person: str,
        now: Callable[[], datetime],
        new_id: Callable[[], str],
    ) -> None:
        self._make = make
        self._sound = sound
        self._diary = diary
        self._person = person
        self._now = now
        self._new_id = new_id
        self._back: Next | None = None

    def first(self, done: Next, back: Next | None = None) -> Page:
        """Ask which exercises; one tap stores the answer.

        The way back is kept for whoever comes here again from a later page.
        """
        self._back = back or self._back

        def said(key: str) -> Page | None:
            if key == "some":
                return self._some(done)
            if key == "timer":
                return self._timer(done)
            if key == "head_turns":
                return self._stored("head_turns", done)
            return self._stored("rest_day" if key == "rest_day" else "all", done)

        return self._make.choice(
            "exercises",
            texts.EXERCISES_TITLE,
            (),
            [(key, texts.EXERCISES[key]) for key in texts.EXERCISES],
            said,
            back=self._back,
        )

    def _some(self, done: Next) -> Page:
        words = [(key, texts.NAMES.get(key, texts.ANOTHER)) for key in EXERCISES]
        return self._make.choice(
            "which exercise",
            texts.WHICH_TITLE,
            (),
            words,
            lambda key: self._stored(EXERCISES[key], done),
            back=lambda: self.first(done),
        )

    def _stored(self, exercise: Exercise, done: Next) -> Page:
        entry = self._entry("reported", exercise)
        self._diary.put_home_exercise(entry)
        return (
            self._rest_day(entry, done) if exercise == "rest_day" else self._long(entry, done)
        )

    def _rest_day(self, entry: HomeExercise, done: Next) -> Page:
        return self._make.text(
            "rest day",
            texts.NOTED_TITLE,
            (texts.REST_DAY_LINE,),
            (CLOSE, Button("undo", texts.TAKE_BACK, "left", main=False)),
            lambda key: self._undo(entry, done) if key == "undo" else done(),
        )

    def _long(self, entry: HomeExercise, done: Next) -> Page:
        """Ask for how long; it may be left out, and the entry may be taken back."""

        def said(key: str) -> Page | None:
            if key == "undo":
                return self._undo(entry, done)
            longer = replace(entry, minutes=MINUTES.get(key))
            if longer.minutes is not None:
                self._diary.put_home_exercise(longer)
            if entry.exercise != "head_turns":
                return done()
            return self._felt(longer, max(texts.PACES), done)

        return self._make.text(
            "how long",
            texts.NOTED_TITLE,
            (texts.HOW_LONG_LINE,),
            (Button("undo", texts.TAKE_BACK, "left", main=False),),
            said,
            choices=(
                *(Button(key, texts.MINUTES[key], main=False) for key in MINUTES),
                Button("end", texts.CLOSE),
            ),
        )

    def _undo(self, entry: HomeExercise, done: Next) -> Page:
        self._diary.take_back_home_exercise(entry.practice_id)
        return self._make.text(
            "taken back",
            texts.TAKEN_BACK_TITLE,
            texts.TAKEN_BACK_LINES,
            (CLOSE, Button("again", texts.BACK, "left", main=False)),
            lambda key: self.first(done) if key == "again" else done(),
        )

    def _felt(self, entry: HomeExercise, fastest: int, done: Next) -> Page:
        """Ask how it felt; if strong, say what to do next, else ask about the beat."""

        def said(key: str) -> Page | None:
            felt = replace(entry, symptoms=int(key))
            self._diary.put_home_exercise(felt)
            if int(key) == STRONG:
                return self._strong(done)
            return self._clear(felt, fastest, done)

        return self._make.choice(
            "felt",
            texts.FELT_TITLE,
            (),
            [(str(level), words) for level, words in enumerate(texts.FELT)],
            said,
            back=None,
        )

    def _clear(self, entry: HomeExercise, fastest: int, done: Next) -> Page:
        """Ask for the fastest beat at which sight stayed clear, of those that were done."""

        def said(key: str) -> Page | None:
            if key != "end":
                beats = 0 if key == "none" else int(key)
                self._diary.put_home_exercise(replace(entry, clear_beats_per_min=beats))
            return done()

        return self._make.text(
            "clear beat",
            texts.CLEAR_TITLE,
            (texts.CLEAR_LINE,),
            (
                Button("end", texts.CLOSE, "left", main=False),
                Button("none", texts.CLEAR_NONE, "right", main=False),
            ),
            said,
            choices=tuple(
                Button(str(pace), words, main=False)
                for pace, words in texts.PACES.items()
                if pace <= fastest
            ),
            answers=("none",),
        )

    def _strong(self, done: Next) -> Page:
        return self._make.text(
            "felt strong",
            texts.PAUSE_TITLE,
            texts.STRONG_LINES,
            (CLOSE,),
            lambda _: done(),
        )

    def _timer(self, done: Next) -> Page:
        def said(key: str) -> Page | None:
            if key == "head_turns":
                return self._head(done)
            return self._ready("right" if key == "right" else "left", done)

        return self._make.choice(
            "timer",
            texts.TIMER_TITLE,
            (),
            [*((hand, texts.HANDS[hand]) for hand in HANDS), ("head_turns", texts.HEAD_TURNS)],
            said,
            back=lambda: self.first(done),
        )

    def _ready(self, hand: Hand, done: Next) -> Page:
        return self._make.text(
            f"timer ready {hand}",
            texts.MINUTE_TITLE.format(hand=texts.HANDS[hand]),
            texts.MINUTE_LINES if self._sound.heard else texts.MINUTE_SILENT_LINES,
            (Button("go", texts.START, "right"), BACK),
            lambda key: self._timer(done) if key == "back" else self._runs(hand, done),
            hand=hand,
            picture=HandsPicture(hand),
        )

    def _runs(self, hand: Hand, done: Next) -> Page:
        minute = Minute(self._sound)

        def over(key: str) -> Page | None:
            entry = self._seen("other", hand, minute)
            if key == "stop" or entry is None:
                return self._timer(done)
            return self._other_arm(hand, done)

        return self._timed(
            f"timer runs {hand}",
            texts.MINUTE_TITLE.format(hand=texts.HANDS[hand]),
            minute,
            over,
            hand=hand,
        )

    def _other_arm(self, hand: Hand, done: Next) -> Page:
        other: Hand = "left" if hand == "right" else "right"

        def said(key: str) -> Page | None:
            if key == "end":
                return done()
            return self._ready(other if key == "other" else hand, done)

        return self._make.text(
            "minute over",
            texts.OVER_TITLE,
            (texts.SEEN_LINE,),
            (
                Button("end", texts.CLOSE, "left", main=False),
                Button("again", texts.ONCE_MORE, "centre", main=False),
                Button("other", texts.OTHER_ARM, "right"),
            ),
            said,
        )

    def _head(self, done: Next) -> Page:
        """Say the usual cautions before head turns."""
        return self._make.text(
            "head cautions",
            texts.HEAD_TITLE,
            texts.HEAD_LINES,
            (Button("go", texts.GO_ON, "right"), BACK),
            lambda key: self._timer(done) if key == "back" else self._before(done),
        )

    def _before(self, done: Next) -> Page:
        """Ask how it feels before; with strong symptoms nothing is begun."""
        if not self._sound.heard:
            return self._pace(0, done)

        def said(key: str) -> Page | None:
            if int(key) < STRONG:
                return self._pace(int(key), done)
            entry = replace(self._entry("reported", "head_turns"), symptoms_before=STRONG)
            self._diary.put_home_exercise(entry)
            return self._strong(done)

        return self._make.choice(
            "felt before",
            texts.FELT_TITLE,
            (texts.FELT_BEFORE_LINE,),
            [(str(level), words) for level, words in enumerate(texts.FELT)],
            said,
            back=lambda: self._head(done),
        )

    def _pace(self, before: int, done: Next) -> Page:
        if not self._sound.heard:
            return self._make.text(
                "no sound",
                texts.NO_SOUND_TITLE,
                texts.NO_SOUND_LINES,
                (CLOSE,),
                lambda _: done(),
            )
        return self._make.choice(
            "pace",
            texts.PACE_TITLE,
            (texts.PACE_LINE,),
            [(str(pace), words) for pace, words in texts.PACES.items()],
            lambda key: self._turns(int(key), before, done),
            back=lambda: self._before(done),
        )

    def _turns(self, beats_per_min: int, before: int, done: Next) -> Page:
        minute = Minute(self._sound, beats_per_min=float(beats_per_min))

        def over(key: str) -> Page | None:
            del key  # however it ends, how it felt is asked
            entry = self._seen("head_turns", None, minute)
            if entry is None:
                return self._timer(done)
            entry = replace(entry, symptoms_before=before)
            self._diary.put_home_exercise(entry)
            return self._felt(entry, beats_per_min, done)

        return self._timed("head turns", texts.HEAD_TURNS, minute, over)

    def _timed(
        self,
        name: str,
        title: Text,
        minute: Minute,
        over: Callable[[str], Page | None],
        *,
        hand: Hand | None = None,
    ) -> Page:
        """Make a page that ends by itself after the minute."""
        return TimedPage(
            name,
            title,
            (texts.RUNS_LINE,),
            (Button("end", texts.FINISH, "right"),),
            over,
            picture=minute,
            **self._make.shared(hand, stop=True),
        )

    def _seen(
        self, exercise: Exercise, hand: HomeExerciseHand | None, minute: Minute
    ) -> HomeExercise | None:
        """Keep what the timer saw; nothing if it hardly ran."""
        if minute.ran_s < MIN_S:
            return None
        entry = replace(
            self._entry("seen", exercise), hand=hand, minutes=round(minute.ran_s / 60, 2)
        )
        self._diary.put_home_exercise(entry)
        return entry

    def _entry(self, kind: str, exercise: Exercise) -> HomeExercise:
        now = self._now()
        return HomeExercise(
            practice_id=self._new_id(),
            person=self._person,
            kind="seen" if kind == "seen" else "reported",
            exercise=exercise,
            hand=None,
            minutes=None,
            symptoms=None,
            local_date=now.date().isoformat(),
            at_utc=utc_text(now, "seconds"),
        )
