"""How the stage looks and sounds for a person: language, theme, size of text, voice.

Kept as a setting of the clinic and, over it, of each person. The theme and the size of the
text are conditions of the test, so they belong to an episode and stand in every record.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

from battery.errors import UsageError
from battery.recording import Screen
from battery.stage.language.languages import OWN_NAMES, language
from battery.stage.screen.sound import LOUDEST
from battery.stage.screen.theme import FIRST_THEME, theme_named
from battery.stage.screen.window import Window
from battery.store import Store

SETTING = "comfort"
UNNAMED_THEME = "dark"
MIN_PERCENT, MAX_PERCENT = 100, 200  # WCAG 2.2, 1.4.4: up to 200 % without loss


@dataclass(frozen=True, slots=True)
class Comfort:
    """What a person sees and hears best.

    Parameters
    ----------
    language : str
        Code of the language of texts and voice.
    theme : str
        Colours: light, dark or dim (light-sensitive eyes).
    text_percent : int
        Size of words beside what the profile has, 100 to 200.
    volume_percent : int
        Loudness of tones and voice, 0 to 100. The tone of a cue is a condition of the test.
    voice : bool
        Whether pages are spoken.
    side : str
        Hand that presses on pages, left or right; empty: the one that writes.
    """

    language: str = "en"
    theme: str = FIRST_THEME.name
    text_percent: int = 100
    volume_percent: int = 70
    voice: bool = True
    side: str = ""

    def __post_init__(self) -> None:
        """Refuse what the stage cannot do."""
        language(self.language)
        theme_named(self.theme)
        if not MIN_PERCENT <= self.text_percent <= MAX_PERCENT:
            msg = (
                f"text at {self.text_percent} %; say {MIN_PERCENT} to {MAX_PERCENT}. "
                "Nothing was changed"
            )
            raise UsageError(msg)
        if self.side not in ("", "left", "right"):
            msg = f"side {self.side!r}; say left or right. Nothing was changed"
            raise UsageError(msg)
        if not 0 <= self.volume_percent <= LOUDEST:
            msg = f"volume {self.volume_percent} %; say 0 to {LOUDEST}. Nothing was changed"
            raise UsageError(msg)

    def changed(self, **asked: Any) -> Comfort:
        """Return it with what was asked for; None leaves a thing as it is."""
        return replace(self, **{name: v for name, v in asked.items() if v is not None})

    def versions(self) -> dict[str, str]:
        """As it is written into the record of a block."""
        return {
            "theme": self.theme,
            "language": self.language,
            "text_percent": str(self.text_percent),
            "volume_percent": str(self.volume_percent),
            "voice": "on" if self.voice else "off",
        }

    def in_words(self) -> str:
        """One line for the command line."""
        return (
            f"language {self.language} ({OWN_NAMES[self.language]}), theme {self.theme}, "
            f"text {self.text_percent} %, volume {self.volume_percent} %, "
            f"voice {'on' if self.voice else 'off'}"
        )


def comfort_of(store: Store, person: str | None = None) -> Comfort:
    """Return what holds for a person, or for the clinic where nobody is named.

    The theme of somebody who has done a visit stays that of the last one, whatever the clinic
    sets for everybody since: only what is set for the person changes it. What a newer program
    kept and this one does not know is left out.
    """
    held = dict(store.setup.setting(SETTING, {}))
    if person is not None:
        own = store.setup.setting(f"{SETTING}:{person}", {})
        if "theme" not in own and (seen := theme_seen(store, person)):
            held["theme"] = seen
        held |= own
    comfort = Comfort()
    for name in (f.name for f in fields(Comfort) if f.name in held):
        try:
            comfort = replace(comfort, **{name: held[name]})
        except (UsageError, TypeError) as error:
            store.left_out(f"setting {SETTING}, {name}", f"it is left out: {error}")
    return comfort


def theme_seen(store: Store, person: str) -> str:
    """Return the theme a person's last record was made in; empty before the first.

    Records that name none were made when there was only the dark one.
    """
    for visit in reversed(store.visits.all(person)):
        records = store.records.of_visit(visit.header.visit_id)
        if records:
            return records[-1].header.versions.get("theme", UNNAMED_THEME)
    return ""


def was_heard(store: Store, person: str) -> bool:
    """Whether a volume was chosen for a person, so that nobody has to ask again."""
    return "volume_percent" in store.setup.setting(f"{SETTING}:{person}", {})


def keep_comfort(store: Store, person: str | None, **changes: Any) -> Comfort:
    """Keep changes for a person, or for everybody who has no setting of their own.

    Returns
    -------
    Comfort
        What now holds.

    Raises
    ------
    UsageError
        If nobody has that code, or the stage cannot do it; nothing is changed then.
    """
    if person is not None:
        store.people.get(person)
    replace(comfort_of(store, person), **changes)
    name = SETTING if person is None else f"{SETTING}:{person}"
    store.setup.put_setting(name, store.setup.setting(name, {}) | changes)
    return comfort_of(store, person)


def comfortable_window(
    comfort: Comfort, *, windowed: bool, known: dict[tuple[int, int], Screen]
) -> Window:
    """Open a window that looks and sounds as a person has it."""
    return Window(
        windowed=windowed,
        known=known,
        theme=theme_named(comfort.theme),
        language=language(comfort.language),
        text_share=comfort.text_percent / 100,
        volume_percent=comfort.volume_percent,
        voice=comfort.voice,
    )
