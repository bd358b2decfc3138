"""The commands about what is known around visits, as a therapist types them."""

import pytest

from battery.errors import UsageError
from battery.store import Store
from tests.unit.test_cli_store import run


def test_an_event_is_marked_on_its_day(own_clinic):
    result = run(
        "mark", "k7qf", "medication", "--on", "2026-03-20", "--note", "evening", "--home",
        own_clinic,
    )  # fmt: skip
    assert result.output.strip() == "K7QF: medication marked on 2026-03-20"
    with Store.open(own_clinic, write=False) as store:
        kept = next(m for m in store.annotations.markers("K7QF") if m.note == "evening")
    assert (kept.kind, kept.at_utc[:10]) == ("medication", "2026-03-20")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("mark", "K7QF", "mood"), "not a kind of event"),
        (("mark", "K7QF", "fall", "--on", "20.3.2026"), "is not a date"),
        (("mark", "XXXX", "fall"), "no person 'XXXX'"),
        (("home-plan", "K7QF", "tapping", "--times", "9", "--by", "t"), "say --hand, "),
        (("rebaseline", "K7QF", "--by", "t", "--reason", "r"), "either --from-visit"),
        (
            ("rebaseline", "K7QF", "--by", "t", "--reason", "r", "--from-visit", "90"),
            "has no visit 90",
        ),
        (("goal", "K7QF", "--by", "t"), "say either --new TEXT"),
        (("goal", "K7QF", "--by", "t", "--number", "9", "--level", "0"), "goal 9 is not there"),
        (
            ("outside-error", "trail.nothing", "--by", "t", "--sem", "1", "--source", "s"),
            "no measure 'trail.nothing'; main measures are tapping.radial_error_mm",
        ),
        (
            ("outside-error", "trail.time_per_link_s", "--by", "t", "--sem", "1",
             "--source", "s"),
            "compared on logarithms; say --percent",
        ),
        (
            ("outside-error", "trail.time_per_link_s", "--by", "t", "--percent", "9"),
            "source is empty",
        ),
        (("outside-error", "trail.time_per_link_s", "--by", "t"), "say one of --percent"),
        (
            ("outside-error", "trail.time_per_link_s", "--by", "t", "--percent", "250",
             "--source", "s"),
            "an error of 250 % cannot be: say the within-person coefficient of variation, "
            "0.01 to 200 %",
        ),
        (
            ("outside-error", "trail.time_per_link_s", "--by", "t", "--percent", "1e-170",
             "--source", "s"),
            "an error of 1e-170 % cannot be",
        ),
        (
            ("outside-error", "pursuit.delay_s", "--by", "t", "--sem", "-1", "--source", "s"),
            "an error of -1 s cannot be: say the standard error of measurement, "
            "0.0001 to 10000 s",
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_is_one_line_and_stores_nothing(own_clinic, words, said):
    with Store.open(own_clinic, write=False) as store:
        before = _all(store)
    result = run(*words, "--home", own_clinic)
    assert isinstance(result.exception, UsageError)
    assert said in str(result.exception)
    assert "\n" not in str(result.exception)
    with Store.open(own_clinic, write=False) as store:
        assert _all(store) == before


def _all(store):
    said, care = store.annotations, store.care
    lists = (said.markers, care.home_plans, care.goals, said.restarts, said.outside_errors)
    return tuple(read() for read in lists)


def test_plan_goal_baseline_and_error_are_kept_and_shown(own_clinic):
    home = ("--home", own_clinic)
    for words in (
        ("home-plan", "K7QF", "tapping", "--hand", "both", "--minutes", "1", "--times", "3",
         "--days", "all", "--target", "near", "--weight", "0", "--by", "therapist",
         "--on", "2026-03-01"),
        ("goal", "K7QF", "--new", "carry a full cup", "--by", "therapist"),
        ("goal", "K7QF", "--number", "1", "--level", "-1", "--by", "therapist"),
        ("rebaseline", "K7QF", "--from-visit", "2", "--by", "t", "--reason", "new drug"),
        ("outside-error", "trail.time_per_link_s", "--percent", "9", "--source", "own study",
         "--by", "t"),
        ("report", "K7QF", "--out", own_clinic / "page.html"),
    ):  # fmt: skip
        result = run(*words, *home)
        assert result.exit_code == 0, (words, result.output, result.exception)
    page = (own_clinic / "page.html").read_text(encoding="utf-8")
    assert "carry a full cup" in page
    assert "planned 21" in page
    assert "new baseline begun" in page
    result = run("rebaseline", "K7QF", "--undo", "--by", "t", "--reason", "mistake", *home)
    assert result.output.strip() == "K7QF: the baseline begins after enrolment"


def test_reliability_names_plan_and_measures(own_clinic):
    result = run("reliability", "--home", own_clinic)
    assert result.exit_code == 0
    assert "tapping.radial_error_mm" in result.output
    wrong = run("reliability", "--plan", "zz", "--home", own_clinic)
    assert "0 plans begin with 'zz'" in str(wrong.exception)


def test_the_rule_of_the_baseline_is_fixed_at_enrolment(tmp_path):
    usual = run("enrol", "--home", tmp_path).output.split()[0]
    short = run("enrol", "--familiarisation", "1", "--baseline", "3", "--home", tmp_path)
    with Store.open(tmp_path, write=False) as store:
        people = {p.code: (p.n_familiarisation, p.n_baseline) for p in store.people.all()}
    assert people == {usual: (2, 4), short.output.split()[0]: (1, 3)}
    assert run("enrol", "--baseline", "1", "--home", tmp_path).exit_code == 2
