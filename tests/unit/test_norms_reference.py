"""Reference values: traceable, and nothing from memory is ever shown."""

import csv
from dataclasses import replace
from pathlib import Path

import pytest

import norms
from norms.reference import TOPICS, kept, shown
from norms.sentences import BANNED, reference_words

FOLDER = Path(norms.__file__).parent / "reference"


def test_nothing_from_memory_is_shown():
    hidden = [row for row in kept() if row.provenance == "memory"]
    assert hidden, "there are such rows to hide"
    assert not set(hidden) & set(shown())
    assert all(row.status == "unverified" for row in hidden)


@pytest.mark.parametrize(
    ("provenance", "status"),
    [("memory", "unverified"), ("memory", "checked"), ("found", "unverified")],
)
def test_a_row_must_be_both_found_and_checked(provenance, status):
    row = shown()[0]
    assert row.may_be_shown
    assert not replace(row, provenance=provenance, status=status).may_be_shown


def test_every_value_shown_says_where_it_was_read():
    assert len(shown()) > 15
    for row in shown():
        assert row.source
        assert row.verified_by
        assert row.value > 0


@pytest.mark.parametrize("topic", TOPICS)
def test_every_table_holds_its_topic_and_nothing_else(topic):
    with (FOLDER / f"{topic}.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["topic"] for row in rows} == {topic}
    assert {row["provenance"] for row in rows} <= {"found", "memory"}
    assert {row["status"] for row in rows} <= {"checked", "unverified"}
    assert all(None not in row for row in rows), "a comma too many"
    assert shown(topic)


def test_no_table_is_forgotten():
    assert {p.stem for p in FOLDER.glob("*.csv")} == set(TOPICS)


def test_an_unknown_topic_is_an_error():
    with pytest.raises(ValueError, match="there are paper_trail"):
        shown("juggling")


def test_the_paper_times_are_those_of_the_print():
    """Ashendorf et al. 2008, tables 2 and 3: controls 46 + 50 + 106 + 67 = 269 people."""
    rows = [r for r in shown("paper_trail") if r.quantity == "completion time part A"]
    assert sum(r.n for r in rows) == 269
    assert [(r.value, r.sd) for r in rows] == [
        (33.2, 13.1), (44.8, 13.4), (29.7, 7.8), (40.3, 13.2),
    ]  # fmt: skip


def test_a_value_is_told_with_its_people_and_source_and_as_context():
    told = reference_words(shown("reaction_time")[0])
    assert told == (
        "Simple visual reaction time, adults 18-65 years: 231 ms, 1469 people "
        "(Woods et al. 2015, Front Hum Neurosci 9:131)."
    )
    with_spread = reference_words(shown("paper_trail")[0])
    assert "33.2 s, standard deviation 13.1, 46 people" in with_spread
    for row in shown():
        assert not [word for word in BANNED if word in reference_words(row).lower()]
