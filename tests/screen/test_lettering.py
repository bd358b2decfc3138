"""Letters have the height they are said to have."""

import pygame
import pytest

from battery.stage.drawing.lettering import LEAST_CAP_PX, Lettering


@pytest.mark.parametrize("cap_mm", [4.0, 6.0, 8.0])
def test_a_capital_has_its_height_on_the_glass(headless, any_tablet, cap_mm):
    """Rows of an H that are lit at least half, in mm; within a pixel or 4 %."""
    cap_px = cap_mm / any_tablet.mm_per_px_y
    ink = Lettering(cap_px).picture("H", (255, 255, 255))
    lit = (pygame.surfarray.array_alpha(ink) > 127).any(axis=0).sum()
    assert lit * any_tablet.mm_per_px_y == pytest.approx(
        cap_mm, abs=max(any_tablet.mm_per_px_y, 0.04 * cap_mm)
    )


def test_letters_stay_legible_on_any_screen(headless):
    ink = Lettering(2.0).picture("H", (255, 255, 255))
    lit = (pygame.surfarray.array_alpha(ink) > 127).any(axis=0).sum()
    assert lit >= LEAST_CAP_PX - 1


def test_a_row_is_read_from_its_right_where_the_language_is(headless):
    """The same letters in the other order: the two halves of the row change places. The
    toolkit shapes a row with HarfBuzz, which takes the direction it is told.
    """
    ways = ("ltr", "rtl")
    there, back = (Lettering(20.0, way).picture("M...", (255, 255, 255)) for way in ways)
    assert there.get_width() == pytest.approx(back.get_width(), abs=1)
    lit = [pygame.surfarray.array_alpha(picture).sum(axis=1) for picture in (there, back)]
    middle = len(lit[0]) // 2
    assert lit[0][:middle].sum() > 1.3 * lit[0][middle:].sum()
    assert lit[1][:middle].sum() < lit[1][middle:].sum() / 1.3


def test_a_number_keeps_its_order_in_a_language_read_from_the_right(headless):
    """Unicode Standard Annex 9: European numbers run from left to right in any text; a number
    to be called must not be turned around.
    """
    there, back = (Lettering(20.0, way) for way in ("ltr", "rtl"))
    plain, turned = (way.picture("112", (255, 255, 255)) for way in (there, back))
    assert (pygame.surfarray.array_alpha(plain) == pygame.surfarray.array_alpha(turned)).all()
    row = back.picture("M 112", (255, 255, 255))
    left = row.subsurface((0, 0, turned.get_width() - 2, row.get_height()))
    number = turned.subsurface((0, 0, turned.get_width() - 2, turned.get_height()))
    differ = abs(
        pygame.surfarray.array_alpha(left).astype(int)
        - pygame.surfarray.array_alpha(number).astype(int)
    )
    assert differ.mean() < 20
    assert back.width_px("M 112") == pytest.approx(row.get_width(), abs=1)


def test_rows_break_between_words_and_lose_none(headless):
    letters = Lettering(20.0)
    text = "Slide it to the side as far as is comfortable, and back."
    rows = letters.wrap(text, 400)
    assert " ".join(rows) == text
    assert len(rows) > 1
    assert all(letters.width_px(row) <= 400 for row in rows)
    assert letters.wrap("Extraordinarily", 10) == ["Extraordinarily"]
