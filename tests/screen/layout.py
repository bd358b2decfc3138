"""What every page must hold to, read from what it publishes."""

import pygame

from battery.stage.pages.rating import FIELD_MM, NUMBERS

CORNERS = ("stop", "help")  # these reach into the corners of the screen


def check_page(state, screen, sizes):
    whole = pygame.Rect(0, 0, screen.width_px, screen.height_px)
    px_per_mm = state["px_per_mm"]
    buttons = {b["key"]: pygame.Rect(b["rect_px"]) for b in state["buttons"]}
    boxes = [(kind, pygame.Rect(rect)) for kind, rect in state["boxes"]]
    where = state["page"]
    for key, rect in buttons.items():
        assert whole.contains(rect), where
        least_mm = 30.0 if key in CORNERS else sizes.button
        if key in NUMBERS and "10" in buttons:  # eleven of them, each pressed once at most
            least_mm = FIELD_MM
        assert min(rect.size) / px_per_mm >= least_mm - 0.2, where
        if key not in CORNERS:
            margin_mm = (
                min(rect.left, whole.right - rect.right, whole.bottom - rect.bottom) / px_per_mm
            )
            whole_mm = min(15.0, whole.width / px_per_mm / 14, whole.height / px_per_mm / 9)
            assert margin_mm >= whole_mm - 0.2, where
    rects = list(buttons.values())
    for i, one in enumerate(rects):
        for other in rects[:i]:
            assert not one.inflate(4 * px_per_mm, 4 * px_per_mm).colliderect(other), where
    for kind, box in boxes:
        assert whole.contains(box), f"{where}: {kind} is cut"
        for key, rect in buttons.items():
            if kind in ("button words", "sign"):
                assert rect.contains(box) or not rect.colliderect(box), f"{where}: {key}"
            else:
                assert not rect.colliderect(box), f"{where}: {kind} lies over {key}"
    for sign in [box for kind, box in boxes if kind == "sign"]:  # letters: lower than rows
        rows = [box.inflate(0, -0.4 * box.height) for kind, box in boxes if "words" in kind]
        assert not any(sign.colliderect(row) for row in rows), f"{where}: words over a sign"
    words = [box for kind, box in boxes if kind == "words"]
    for i, one in enumerate(words):  # rows may touch: letters are lower than their rows
        assert all(not one.inflate(0, -0.4 * one.height).colliderect(w) for w in words[:i]), (
            where
        )
    pictures = [box for kind, box in boxes if kind == "picture"]
    assert all(not p.colliderect(w) for p in pictures for w in words), where
    assert all(p.height / px_per_mm >= 45.0 for p in pictures), where
