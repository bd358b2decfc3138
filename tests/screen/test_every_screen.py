"""Every combination of screen, density, profile, language and size of words: a visit each."""

import itertools

import pytest

from battery.errors import PlanError
from battery.stage.drawing.places import DEFAULT, LARGE
from tests.screen.crawler import BRIEF, check_states
from tests.screen.door import PANELS, Home
from tests.screen.manners import Person as Somebody

FACTORS = {
    "panel": tuple(PANELS),
    "measured": (True, False),
    "large": (False, True),
    "language": ("en", "de"),
    "text_percent": (100, 150, 200),
}


def pairwise(factors):
    """A few combinations in which every pair of two factors' values comes together once.

    Greedy, as in Cohen DM et al. (1997) IEEE Trans Softw Eng 23:437-444: each row takes the
    combination that has the most pairs which are still open.
    """
    names = list(factors)
    open_pairs = {
        ((a, x), (b, y))
        for a, b in itertools.combinations(names, 2)
        for x in factors[a]
        for y in factors[b]
    }
    rows = []
    everything = [
        dict(zip(names, values, strict=True)) for values in itertools.product(*factors.values())
    ]
    while open_pairs:
        row = max(everything, key=lambda r: len(open_pairs & _pairs(r)))
        rows.append(row)
        open_pairs -= _pairs(row)
    return rows


def covering(rows, first):
    """Add to the first few rows until every value of every factor is there."""
    chosen = list(first)
    while left := {pair for row in rows for pair in row.items()} - {
        pair for row in chosen for pair in row.items()
    }:
        chosen.append(max(rows, key=lambda row: len(left & set(row.items()))))
    return chosen


def _pairs(row):
    return set(itertools.combinations(row.items(), 2))


def _name(row):
    guess = "card" if row["measured"] else "guess"
    size = "large" if row["large"] else "default"
    return f"{row['panel']}-{guess}-{size}-{row['language']}-{row['text_percent']}"


ALL = [
    dict(zip(FACTORS, values, strict=True)) for values in itertools.product(*FACTORS.values())
]
PAIRS = pairwise(FACTORS)
TIGHT = [row for row in ALL if _name(row) == "1920x1200-card-large-en-100"]  # least room
EVERY_RUN = covering(PAIRS, TIGHT)


@pytest.mark.parametrize(
    "row",
    [
        pytest.param(r, marks=[] if r in EVERY_RUN else pytest.mark.long, id=_name(r))
        for r in ALL
    ],
)
def test_a_visit_can_be_done_on_every_screen(tmp_path, monkeypatch, row):
    """From the first page to the last: all of it fits, is large enough and overlaps nothing."""
    home = Home(
        tmp_path, row["panel"], measured=row["measured"], large=row["large"], plan=BRIEF,
        comfort={"language": row["language"], "text_percent": row["text_percent"]},
    )  # fmt: skip
    if row["panel"] == "800x1280":  # upright, so too narrow: said on the glass
        why = "tapping needs" if row["measured"] else "stands upright"
        with pytest.raises(PlanError, match=why):
            home.visit(monkeypatch, Somebody())
        assert [state["page"] for state in home.states][-1] == "turn"
        return
    said, pilot = home.visit(monkeypatch, Somebody())
    assert f"visit 1 of {home.code}: complete" in said
    assert [s["page"] for s in pilot.states][-1] == "thanks"
    sizes = (LARGE if row["large"] else DEFAULT).scaled(row["text_percent"] / 100)
    check_states(pilot.states, pilot._window.screen, sizes)
    if row in TIGHT:
        check_title(pilot.states, "medication")


def check_title(states, page):
    """No title is lower than the words that stand below it, between the corners."""
    state = next(state for state in states if state["page"] == page)
    heights = [rect[3] for kind, rect in state["boxes"] if kind == "words"]
    assert len(heights) > 1
    assert all(height <= heights[0] + 1 for height in heights[1:]), heights


def test_the_pairs_are_all_there():
    """Every two values of two factors; far fewer rows than the full product."""
    held = set().union(*map(_pairs, PAIRS))
    assert held == set().union(*map(_pairs, ALL))
    assert len(PAIRS) <= 24 < len(ALL) == 144
    for factor, values in FACTORS.items():
        assert {row[factor] for row in EVERY_RUN} == set(values), factor
