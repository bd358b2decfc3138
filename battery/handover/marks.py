"""Fingerprints as two people compare them: as words that can be said, and as pictures.

Words and pictures stand beside the digits; they tell a slip of the eye, and the four words hold
all of the digits.
"""

from __future__ import annotations

import hashlib

from battery.people import PICTURES

CONSONANTS = "bdfghjklmnprstvz"
VOWELS = "aiou"
N_PICTURES = 6


def mark_words(fingerprint: str) -> str:
    """Return a fingerprint as pronounceable words, each of them 16 bits.

    Parameters
    ----------
    fingerprint : str
        Groups of four hexadecimal digits.

    References
    ----------
    .. [1] Wilkerson DS (2009). A proposal for proquints: identifiers that are readable,
       spellable, and pronounceable. arXiv:0901.4016.

    Examples
    --------
    >>> mark_words("7f00 0001")
    'lusab babad'
    """
    return " ".join(_word(int(group, 16)) for group in fingerprint.split())


def _word(bits: int) -> str:
    places = ((12, 4), (10, 2), (6, 4), (4, 2), (0, 4))
    return "".join(
        (CONSONANTS if wide == 4 else VOWELS)[bits >> low & (1 << wide) - 1]
        for low, wide in places
    )


def mark_pictures(fingerprint: str) -> tuple[str, ...]:
    """Return a row of pictures; another fingerprint has another row, all but for 1 in 260,000.

    They come from its hash, so that fingerprints that differ in one digit differ all over.
    """
    digest = hashlib.sha256(fingerprint.encode()).digest()
    return tuple(PICTURES[byte % len(PICTURES)] for byte in digest[:N_PICTURES])
