"""What a text may be in a cell of a spreadsheet: no formula, no control character."""

from __future__ import annotations

import re

# https://owasp.org/www-community/attacks/CSV_Injection: what a spreadsheet may run.
RISKY = ("=", "+", "-", "@", "\t", "\r", "\uff1d", "\uff0b", "\uff0d", "\uff20")
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f]")


def harmless(text: str) -> str:
    r"""Put an apostrophe before what a spreadsheet might run; write out control characters.

    Examples
    --------
    >>> harmless("=1+1"), harmless("left"), harmless("a\x00b")
    ("'=1+1", 'left', "'a\\x00b")
    """
    plain = _CONTROL.sub(lambda found: f"\\x{ord(found.group()):02x}", text)
    return f"'{plain}" if text.startswith(RISKY) or plain != text else plain
