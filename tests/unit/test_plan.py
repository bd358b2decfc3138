"""Plans: hashes, order of blocks, refusals."""

import dataclasses
import random

import pytest

from battery.errors import PlanError
from battery.plan import (
    PLANS,
    SHORT,
    STANDARD,
    Plan,
    PlannedTask,
    check_fits,
    fresh_seed,
    load_plan,
    plan_hash,
    planned_blocks,
)
from battery.recording import Screen
from tasks.registry import OPTIONS


def test_standard_plan_does_each_task_with_each_hand_after_practice():
    blocks = planned_blocks(STANDARD, "left")
    assert [(b.task, b.hand, b.phase) for b in blocks[:4]] == [
        ("tapping", "left", "practice"),
        ("tapping", "left", "test"),
        ("tapping", "right", "practice"),
        ("tapping", "right", "test"),
    ]
    tested = {(b.task, b.hand) for b in blocks if b.phase == "test"}
    assert len(tested) == 8


def test_hash_ignores_the_name_and_nothing_else():
    renamed = STANDARD.model_copy(update={"name": "other"})
    assert plan_hash(renamed) == plan_hash(STANDARD)
    assert plan_hash(STANDARD.model_copy(update={"rest_s": 31.0})) != plan_hash(STANDARD)
    assert plan_hash(SHORT) != plan_hash(STANDARD)


def test_hash_spells_out_defaults():
    """Writing a default down changes nothing; the same test has the same hash."""
    bare = Plan(name="a", tasks=(PlannedTask(task="tapping"),))
    spelled = Plan(name="a", tasks=(PlannedTask(task="tapping", options={"duration_s": 60.0}),))
    assert plan_hash(bare) == plan_hash(spelled)


def test_the_plan_of_numbers_shows_no_letter():
    """Labels of every trail of fifty layouts; all else is as in the standard plan."""
    numbers = load_plan("numbers")
    assert numbers.tasks[:-1] == STANDARD.tasks[:-1]
    trails = [b for b in planned_blocks(numbers, "right") if b.task == "trail"]
    assert len(trails) == 4
    for seed in range(50):
        for planned in trails:
            labels = [x for form in planned.settings(seed).forms for x in form.labels]
            assert labels
            assert all(label.isdecimal() for label in labels)


def test_plan_file_is_read(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(
        'name = "mine"\nrest_s = 2\nhands = "left"\n'
        '[[tasks]]\ntask = "tapping"\noptions = { duration_s = 5 }\n'
    )
    plan = load_plan(str(path))
    assert [(b.task, b.hand, b.phase) for b in planned_blocks(plan, "right")] == [
        ("tapping", "left", "practice"),
        ("tapping", "left", "test"),
    ]
    assert planned_blocks(plan, "right")[1].options.duration_s == 5


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("name = ", "cannot be read"),
        ('name = "x"\n', "tasks"),
        ('name = "x"\ntasks = []\n', "tasks"),
        ('name = "Bad Name"\n[[tasks]]\ntask = "tapping"\n', "name"),
        ('name = "x"\n[[tasks]]\ntask = "juggling"\n', "no task 'juggling'"),
        ('name = "x"\n[[tasks]]\ntask = "tapping"\noptions = {colour = 1}\n', "'colour'"),
        ('name = "x"\n[[tasks]]\ntask = "tapping"\noptions = {duration_s = -1}\n', "tapping"),
        ('name = "x"\nrest_s = -5\n[[tasks]]\ntask = "tapping"\n', "rest_s"),
        ('name = "short"\n[[tasks]]\ntask = "tapping"\n', "taken"),
    ],
)
def test_bad_plan_file_is_one_line_that_names_the_place(tmp_path, text, says):
    path = tmp_path / "bad.toml"
    path.write_text(text)
    with pytest.raises(PlanError) as caught:
        load_plan(str(path))
    assert says in str(caught.value)
    assert "\n" not in str(caught.value).strip()


def test_unknown_plan_names_the_known_ones():
    with pytest.raises(PlanError, match="standard, numbers, short"):
        load_plan("weekly")


def test_layouts_are_never_repeated():
    block = planned_blocks(STANDARD, "right")[1]
    used: set[str] = set()
    for _ in range(50):
        _, _, layout_hash = fresh_seed(block, used, random.Random(7))
        assert layout_hash not in used
        used.add(layout_hash)


def test_plans_fit_a_ten_inch_tablet_and_not_a_phone():
    """10.1 inch, 1280 x 800: 217 x 136 mm (arithmetic on the diagonal)."""
    tablet = Screen(1280, 800, 217 / 1280, 136 / 800, "ruler")
    phone = Screen(2400, 1080, 145 / 2400, 65 / 1080, "ruler")
    for plan in PLANS.values():
        check_fits(plan, tablet)
        with pytest.raises(PlanError, match="mm"):
            check_fits(plan, phone)


class _Everything(set[str]):
    """A set that has met everything."""

    def __contains__(self, _item: object) -> bool:
        return True


def test_a_task_without_new_layouts_is_an_error_and_no_endless_loop():
    block = planned_blocks(STANDARD, "right")[1]
    with pytest.raises(PlanError, match="no layout of tapping left"):
        fresh_seed(block, _Everything(), random.Random(7))


@pytest.mark.parametrize("block", planned_blocks(STANDARD, "right")[::2], ids=lambda b: b.task)
def test_no_task_runs_out_of_layouts(block):
    """The same draws again and again: each time the next one that is new is taken."""
    used: set[str] = set()
    for _ in range(30):
        _, _, layout_hash = fresh_seed(block, used, random.Random(7))
        assert layout_hash not in used
        used.add(layout_hash)


# What somebody may have written into a plan file

HOSTILE = (
    "nan", "inf", "-inf", "-1e9", "1e308", "1e-308", "999999999", "9" * 300, '"x"', "[]",
    "[1, 2]", "[[1]]", '["a"]', "{x = 1}", "2026-01-01", '"\\u0000"', "09:30:00",
)  # fmt: skip
OF_OPTIONS = [
    (task, option.name, value)
    for task, options in OPTIONS.items()
    for option in dataclasses.fields(options)
    for value in HOSTILE
]
OF_FILES = (
    "", "\0", "name = 1", 'name = "own"', 'name = "own"\ntasks = []', "a=" + "[" * 20_000,
    'name = "own"\n' + '[[tasks]]\ntask = "slide"\n' * 20_000,
    'name = "../own"\n[[tasks]]\ntask = "slide"',
    'name = "own"\nrest_s = nan\n[[tasks]]\ntask = "slide"',
    'name = "own"\nrest_s = true\n[[tasks]]\ntask = "slide"',
    'name = "own"\nrest_s = "30"\n[[tasks]]\ntask = "slide"',
    'name = "own"\nhands = "third"\n[[tasks]]\ntask = "slide"',
    'name = "own"\nmore = 1\n[[tasks]]\ntask = "slide"',
    'name = "own"\n[[tasks]]\ntask = "../../x"',
    'name = "own"\n[[tasks]]\ntask = "slide"\n[tasks.options]\n"\\u0000" = 1',
    'name = "own"\n[[tasks]]\ntask = "trail"\n[tasks.options]\nkinds = ['
    + '"numbers",' * 9_000 + "]",
)  # fmt: skip


def refused(folder, text):
    """The line with which a plan file is refused."""
    path = folder / "own.toml"
    path.write_text(text)
    with pytest.raises(PlanError) as caught:
        load_plan(str(path))
    line = str(caught.value)
    assert "\n" not in line
    assert len(line) < 400
    return line


def test_a_hostile_option_is_refused_in_one_line_that_names_it(tmp_path):
    for task, name, value in OF_OPTIONS:
        text = f'name = "own"\n[[tasks]]\ntask = "{task}"\n[tasks.options]\n{name} = {value}\n'
        if value == "1e-308" and not name.endswith(("_r_mm", "_s")):
            continue  # as good as 0
        named = name.removeprefix("n_")  # as counted things are named in a sentence
        assert named in refused(tmp_path, text), (task, name, value)


@pytest.mark.parametrize("number", range(len(OF_FILES)))
def test_a_hostile_file_is_refused_in_one_line(tmp_path, number):
    assert "own" in refused(tmp_path, OF_FILES[number])


def test_a_plan_file_that_is_a_folder_link_or_device_is_refused(tmp_path):
    for name in (str(tmp_path), "/dev/zero", "\0", "a" * 5_000):
        with pytest.raises(PlanError):
            load_plan(name)
