"""A stranger at the controls: sees what the program publishes and moves the X pointer.

It knows the rules a person is told and nothing of the program's inside.
"""

from __future__ import annotations

import math
import select
import time

LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"


def pause(seconds: float) -> None:
    """Let real time pass for the other process."""
    select.select([], [], [], seconds)


class Stranger:
    def __init__(self, pointer, published) -> None:
        self.pointer = pointer
        self.published = published
        self.pages: list[str] = []
        self.x, self.y = 640.0, 400.0

    def press(self, key: str) -> None:
        """Press a button of the page shown."""
        state = self.published.wait(lambda s: any(b["key"] == key for b in s["buttons"]), 60)
        if not self.pages or self.pages[-1] != state["page"]:
            self.pages.append(state["page"])
        number = state["number"]
        left, top, width, height = next(b for b in state["buttons"] if b["key"] == key)[
            "rect_px"
        ]
        pause(0.35)  # the page takes no press in its first moment
        self.pointer.click(left + width / 2, top + height / 2)
        self.published.wait(lambda s: s["number"] != number)

    def visit(self) -> None:
        """Do the whole visit."""
        while True:
            state = self.published.wait(lambda s: s["page"])
            page = state["page"]
            if page == "thanks":
                self.press_last("end")
                return
            if page.startswith("block "):
                self.pages.append(page)
                self.block(page)
            else:
                self.press("go")

    def press_last(self, key: str) -> None:
        """Press the button that ends the program."""
        state = self.published.now()
        self.pages.append(state["page"])
        left, top, width, height = next(b for b in state["buttons"] if b["key"] == key)[
            "rect_px"
        ]
        pause(0.35)
        self.pointer.click(left + width / 2, top + height / 2)

    def block(self, page: str) -> None:
        act = {
            "tapping": self.tap,
            "slide": self.slide,
            "pursuit": self.follow,
            "trail": self.connect,
        }[page.split()[1]]
        while (state := self.published.now())["page"] == page:
            act(state, page)

    # Movements

    def glide(self, x: float, y: float, seconds: float = 0.25) -> None:
        """Move there in small steps."""
        steps = max(2, int(seconds / 0.01))
        x0, y0 = self.x, self.y
        for i in range(1, steps + 1):
            self.x, self.y = x0 + (x - x0) * i / steps, y0 + (y - y0) * i / steps
            self.pointer.move(self.x, self.y)
            pause(0.01)

    def disc(self, state, *roles):
        return next((d for d in state["discs"] if d["role"] in roles), None)

    def tap(self, state, page) -> None:
        home = self.disc(state, "home")
        if home is None:
            pause(0.004)
            return
        self.glide(home["x_px"], home["y_px"])
        self.pointer.tell("down")
        go = self.published.wait(lambda s: self.disc(s, "go") or s["page"] != page)
        self.pointer.tell("up")
        target = self.disc(go, "go")
        if target and go["page"] == page:
            self.glide(target["x_px"] + 5, target["y_px"] - 3)
            self.pointer.tell("down")
            self.pointer.tell("up")

    def slide(self, state, page) -> None:
        target = self.disc(state, "go")
        if target is None:
            pause(0.004)
            return
        self.glide(target["x_px"], target["y_px"])
        self.pointer.click(self.x, self.y)
        state = self.published.wait(
            lambda s: s["page"] != page or (self.disc(s, "done") and self.disc(s, "go"))
        )
        chip = self.disc(state, "go")
        if state["page"] != page or not chip or not state["tracks"]:
            return
        self.glide(chip["x_px"], chip["y_px"])
        self.pointer.tell("down")
        (x0, _), (x1, y1) = state["tracks"][0]
        self.glide(x0 + 0.7 * (x1 - x0), y1 + 2, 1.2)
        self.glide(x0, y1 - 2, 1.2)
        self.pointer.tell("up")

    def follow(self, state, page) -> None:
        chip = self.disc(state, "go", "held", "chip")
        if chip is None:
            pause(0.004)
            return
        self.x, self.y = chip["x_px"], chip["y_px"]
        self.pointer.move(self.x, self.y)
        if chip["role"] in ("go", "chip"):
            self.pointer.tell("down")
            self.published.wait(lambda s: s["page"] != page or self.disc(s, "held"))
        pause(0.008)
        if self.published.now()["page"] != page:
            self.pointer.tell("up")

    def connect(self, state, page) -> None:
        first = self.disc(state, "go")
        nodes = {d["label"]: d for d in state["discs"] if d["label"]}
        if first is None or len(nodes) < 3:
            pause(0.004)
            return
        order = in_order(list(nodes))
        assert first["label"] == order[0]
        self.glide(first["x_px"], first["y_px"])
        self.pointer.tell("down")
        for label in order[1:]:
            self.glide(nodes[label]["x_px"], nodes[label]["y_px"], 0.4)
            self.published.wait(
                lambda s, label=label: (
                    s["page"] != page
                    or self.disc(s, "go")
                    or any(d["label"] == label and d["role"] == "done" for d in s["discs"])
                )
            )
        self.pointer.tell("up")


def in_order(labels: list[str]) -> list[str]:
    """The order a person is told: 1 2 3, or 1 A 2 B."""

    def key(label):
        if label.isdigit():
            return (int(label), 0)
        if label.isalpha():
            return (LETTERS.index(label) + 1, 1)
        return (int(label[1:]), 0)

    return sorted(labels, key=key)


def wander(pointer, seconds: float) -> None:
    """Move about without any aim."""
    until_s = time.monotonic() + seconds
    while time.monotonic() < until_s:
        angle = 9 * time.monotonic()
        pointer.move(640 + 200 * math.cos(angle), 400 + 150 * math.sin(angle))
        pause(0.01)
