"""A stranger at the controls: sees what the program publishes and moves a pointer or a finger.

It knows the rules a person is told and nothing of the program's inside.
"""

from __future__ import annotations

import select
import time

from tests.screen.manners import Person

LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
STEP_S = 0.008
DEBOUNCE_S = 0.35  # a page takes no press in its first moment
MAX_TAPS, HEARD_S = 40, 1.5  # a disk that is busy may take its time
REACTION_S = 0.25
GLIDE_S = 0.7  # brisk, so that a short block has its passes where the machine is slow too


def pause(seconds: float) -> None:
    """Let real time pass for the other process."""
    select.select([], [], [], seconds)


class Stranger:
    """Does a visit with a `Pointer` or a `Finger`."""

    def __init__(self, hand, published, person=None) -> None:
        self.hand = hand
        self.published = published
        self.pages: list[str] = []
        self.person = person or Person()
        self.x, self.y = 640.0, 400.0
        self.sent_px: list[tuple[int, int]] = []  # everywhere it has been
        self.aim_off = (5, -3)  # where touches land beside a target's middle, px

    def visit(self, until: str = "thanks") -> None:
        """Press on through the pages and do the blocks, until a page comes."""
        while True:
            state = self.published.wait(lambda s: s["page"] and (s["buttons"] or s["running"]))
            page = state["page"]
            if page == until and not any(b["key"] == "turn" for b in state["buttons"]):
                self._note(page)
                return
            if page.startswith("block "):
                self._note(page)
                self.block(page)
            else:
                self.answer(state)

    def answer(self, state) -> None:
        """Press what this person presses on a page; wait where there is nothing yet."""
        key = self.person(state)
        if key is None:
            self.published.wait(lambda s: s["number"] != state["number"])
        else:
            self.press(key)

    def press(self, key: str, *, last: bool = False) -> None:
        """Press a button of the page shown, and wait for what it leads to."""
        state = self.published.wait(lambda s: any(b["key"] == key for b in s["buttons"]))
        self._note(state["page"])
        left, top, width, height = next(
            b["rect_px"] for b in state["buttons"] if b["key"] == key
        )
        pause(DEBOUNCE_S)
        number = self.published.now()["number"]  # a page may draw itself again meanwhile
        # Menus take nothing for a moment after any contact; who is not heard taps again.
        for _ in range(MAX_TAPS):
            self.tap(left + width / 2, top + height / 2)
            if self.published.moved_on(number, HEARD_S, ended=last):
                return
        assert last, f"not heard {MAX_TAPS} times; last page {self.published.now()}"

    def to_block(self) -> dict:
        """Go on until the first block runs."""
        while not (state := self.published.now())["running"]:
            if state["buttons"]:
                self.answer(state)
        return self.published.wait(lambda s: s["running"] and s["discs"])

    def _note(self, page: str) -> None:
        if not self.pages or self.pages[-1] != page:
            self.pages.append(page)

    def block(self, page: str) -> None:
        act = {
            "tapping": self.reach,
            "slide": self.slide,
            "pursuit": self.follow,
            "trail": self.connect,
        }[page.split()[1]]
        while (state := self.published.now())["page"] == page:
            self.published.alive()
            act(state, page)

    # Movements

    def move(self, x: float, y: float) -> None:
        self.sent_px.append((round(x), round(y)))
        self.hand.move(x, y)

    def tap(self, x: float, y: float) -> None:
        self.x, self.y = x, y
        self.move(x, y)
        self.hand.down()
        self.hand.up()

    def glide(self, x: float, y: float, seconds: float = 0.25) -> None:
        """Move there in small steps."""
        steps = max(2, round(seconds / STEP_S))
        x0, y0 = self.x, self.y
        begun_s = time.monotonic()
        for i in range(1, steps + 1):
            self.x, self.y = x0 + (x - x0) * i / steps, y0 + (y - y0) * i / steps
            self.move(self.x, self.y)
            pause(max(0.0, begun_s + i * STEP_S - time.monotonic()))

    @staticmethod
    def disc(state, *roles):
        return next((d for d in state["discs"] if d["role"] in roles), None)

    def reach(self, state, page) -> None:
        home = self.disc(state, "home")
        if home is None:
            pause(STEP_S)
            return
        self.glide(home["x_px"], home["y_px"])
        self.hand.down()
        go = self.published.wait(lambda s: self.disc(s, "go") or s["page"] != page)
        pause(REACTION_S)
        self.hand.up()
        target = self.disc(go, "go")
        if target and go["page"] == page:
            self.glide(target["x_px"] + self.aim_off[0], target["y_px"] + self.aim_off[1])
            self.hand.down()
            pause(0.03)
            self.hand.up()

    def slide(self, state, page) -> None:
        target = self.disc(state, "go")
        if target is None:
            pause(STEP_S)
            return
        self.glide(target["x_px"], target["y_px"])
        self.tap(self.x, self.y)
        state = self.published.wait(
            lambda s: s["page"] != page or (self.disc(s, "done") and self.disc(s, "go"))
        )
        chip = self.disc(state, "go")
        if state["page"] != page or not chip or not state["tracks"]:
            return
        self.glide(chip["x_px"], chip["y_px"])
        self.hand.down()
        (x0, _), (x1, y1) = state["tracks"][0]
        self.glide(x0 + 0.7 * (x1 - x0), y1 + 2, GLIDE_S)
        self.glide(x0, y1 - 2, GLIDE_S)
        self.hand.up()

    def follow(self, state, page) -> None:
        chip = self.disc(state, "go", "held", "chip")
        if chip is None:
            pause(STEP_S)
            return
        self.x, self.y = chip["x_px"], chip["y_px"]
        self.move(self.x, self.y)
        if chip["role"] in ("go", "chip"):
            self.hand.down()
            self.published.wait(lambda s: s["page"] != page or self.disc(s, "held"))
        pause(STEP_S)
        if self.published.now()["page"] != page:
            self.hand.up()

    def connect(self, state, page) -> None:
        first = self.disc(state, "go")
        nodes = {d["label"]: d for d in state["discs"] if d["label"]}
        if first is None or len(nodes) < 3:
            pause(STEP_S)
            return
        order = in_order(list(nodes))
        assert first["label"] == order[0]
        self.glide(first["x_px"], first["y_px"])
        self.hand.down()
        for label in order[1:]:
            self.glide(nodes[label]["x_px"], nodes[label]["y_px"], 0.4)
            self.published.wait(
                lambda s, label=label: (
                    s["page"] != page
                    or self.disc(s, "go")
                    or any(d["label"] == label and d["role"] == "done" for d in s["discs"])
                )
            )
        self.hand.up()


def in_order(labels: list[str]) -> list[str]:
    """The order a person is told: 1 2 3, or 1 A 2 B."""

    def key(label):
        if label.isdigit():
            return (int(label), 0)
        if label.isalpha():
            return (LETTERS.index(label) + 1, 1)
        return (int(label[1:]), 0)

    return sorted(labels, key=key)
