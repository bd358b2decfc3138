"""What somebody answers who is well, alone, and does what the pages say."""

from __future__ import annotations

ANSWERS = {
    "red flags": "no",
    "medication": "none",
    "weight": "off",
    "helped": "no",
    "as last time": "yes",
    "as before": "yes",
    "settled": "yes",
    "card width": "skip",
    "staff": "back",
}
WAYS_ON = ("go", "next", "end", "back")


class Person:
    """Goes on; remembers which hand the pages last asked for.

    Parameters
    ----------
    answers : dict of page to key
        Where this person answers something else.
    """

    def __init__(self, **answers: str) -> None:
        self.answers = {**ANSWERS, **{k.replace("_", " "): v for k, v in answers.items()}}
        self.hand = "right"

    def __call__(self, state: dict) -> str | None:
        """Return the key of the button to press; None waits."""
        page = state["page"]
        if page.startswith("hand ") and page.split()[1] in ("left", "right"):
            self.hand = page.split()[1]
        keys = [button["key"] for button in state["buttons"]]
        if "turn" in keys:  # to the next leaf of a page with large words
            return "turn"
        wanted = self.answers.get(page, self.hand if page == "hand used" else None)
        if wanted is not None:
            return wanted if wanted in keys else None
        if "0" in keys and "go" not in keys:  # a scale of which nothing is said yet
            return "0"
        return next((key for key in WAYS_ON if key in keys), None)
