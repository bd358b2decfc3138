"""The mark of a key as two people compare it: words, digits, and pictures that are drawn."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from battery.figures import figure_svg
from battery.handover import mark_pictures, mark_words
from battery.people import PICTURES


@dataclass(frozen=True, slots=True)
class DrawnMark:
    """A fingerprint in every form in which tablet and clinic show it.

    Parameters
    ----------
    figures : tuple of (str, Markup)
        Names of the pictures, and the pictures.
    """

    digits: str
    words: str
    figures: tuple[tuple[str, Markup], ...]


def drawn_mark(fingerprint: str) -> DrawnMark:
    """Return a fingerprint as words and pictures; what is none has no words.

    Parameters
    ----------
    fingerprint : str
        Groups of four hexadecimal digits.
    """
    try:
        words = mark_words(fingerprint)
    except ValueError:  # a stored one that was damaged
        words = ""
    figures = tuple((name, drawn_figure(name)) for name in mark_pictures(fingerprint))
    return DrawnMark(fingerprint, words, figures)


def drawn_figure(picture: str) -> Markup:
    """Return the picture of that name."""
    return Markup(figure_svg(PICTURES.index(picture)))  # made of our own outlines
