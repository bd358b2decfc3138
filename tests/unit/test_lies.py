"""What is well formed, signed and false is named, and changes nothing for anybody."""

import sys
import time
from functools import cache

import pytest

from battery.errors import HandoverError
from battery.handover import list_waiting, receive, take
from battery.store import Store
from tests import handover_kit as hand
from tests.lied_to import COMMANDS, OTHERS, PERSON, WORDS, Desk, answer, ask, one_time, waiting

A_SIXTH = tuple({"visit began a word": 1, **dict.fromkeys(WORDS[::6])})


@pytest.fixture(scope="module")
def desk(small_clinic, tmp_path_factory):
    """A clinic that is lied to by one of its tablets."""
    return Desk(tmp_path_factory.mktemp("lies"), small_clinic)


@pytest.fixture(scope="module")
def as_before(desk, tmp_path_factory):
    """What a command said and wrote before any lie."""
    out = tmp_path_factory.mktemp("before") / "out"

    @cache
    def before(name):
        told = answer(name, desk.template, out)
        assert told[0] == 0, name
        return told

    return before


def test_there_are_at_least_sixty_lies():
    assert len(WORDS) >= 60


@pytest.mark.parametrize("names", [A_SIXTH, pytest.param(WORDS, marks=pytest.mark.long)])
def test_every_lie_is_named_waits_and_reaches_no_table(desk, tmp_path, names):
    for number, name in enumerate(names):
        desk.put(tmp_path, number, desk.forged(name))
    with Store.open(desk.new_home()) as store:
        report = receive(store, tmp_path, wall=hand.wall)
        assert desk.unchanged(store)
        why = {str(w.why) for w in store.transfer.quarantine() if w.reason == "false"}
        listed = "\n".join(list_waiting(store))
    assert set(report.outcomes) == {"false"}
    told = {line.split(":")[0].strip("'"): line for line in report.refused}
    for number, name in enumerate(names):
        line = told[f"x_{number:06d}.cbundle"]
        assert desk.lies[name][1] in line, f"{name}: {line}"
        of_later = "Update the program" in line
        assert of_later or any(desk.lies[name][1] in words for words in why), name
    assert "says what cannot be: visit.started_utc is 'a word'" in listed


@pytest.mark.parametrize("names", [WORDS[::12], pytest.param(WORDS, marks=pytest.mark.long)])
def test_a_lie_that_waits_already_is_not_taken(desk, names):
    """As a program without the gate let it in: under its tablet or its person."""
    with Store.open(desk.new_home()) as store:
        for name in names:
            row = desk.row(desk.forged(name))
            with waiting(store, row):
                try:
                    told = take(store, row["item_id"], author="AB", why="so", wall=hand.wall)
                except HandoverError as error:
                    told = [str(error)]
            assert any(desk.lies[name][1] in line for line in told), f"{name}: {told}"
        assert {p.code for p in store.people.all()} == {PERSON, *OTHERS}
        assert hand.state(store)["visits"] == desk.before["visits"]


def lied_to(desk, name, stick):
    """A clinic that has received a lie and was told to take it, by the commands."""
    home, word = desk.new_home(), desk.lies[name][1]
    stick.mkdir(exist_ok=True)
    desk.put(stick, 1, desk.forged(name))
    status, text = ask("receive", str(stick), home=home)
    assert status == 1, name
    assert word in text, f"{name}: {text}"
    assert len(text.splitlines()) < 6, text
    status, listed = ask("quarantine", home=home)
    assert status == 0, name
    if "Update the program" not in text:
        assert word in listed, f"{name}: {listed}"
    return home


def take_it(desk, name, home):
    """Let what waits be taken, and once more as a program without the gate let it in."""
    word = desk.lies[name][1]
    with Store.open(home, write=False) as store:
        items = [waiting.item_id for waiting in store.transfer.quarantine()]
    for item in items:
        status, text = ask(
            "quarantine", "take", item, "--by", "AB", "--reason", "so", home=home
        )
        assert status == 1, name
        assert word in text, f"{name}: {text}"
    with Store.open(home) as store:
        row = desk.row(desk.forged(name), reason="device")
        with waiting(store, row):
            told = take(store, row["item_id"], author="AB", why="so", wall=hand.wall)
        assert any(word in line for line in told), f"{name}: {told}"


def loop(desk, as_before, names, commands, folder):
    """Every lie, then commands; the lie taken, then commands. Return how many there were."""
    n = 0
    for place, name in enumerate(names):
        home = lied_to(desk, name, folder / "stick")
        for taken in (False, True):
            if taken:
                take_it(desk, name, home)
            for command in commands(place, taken):
                now = answer(command, home, folder / "out")
                assert now == as_before(command), f"{name}, {command}, {taken=}"
                n += 1
    return n


def test_after_a_lie_a_command_says_and_writes_what_it_did_before(desk, as_before, tmp_path):
    """A share: every other command after one of some lies, received or taken."""
    names = list(COMMANDS)[::2]

    def one_each(place, taken):
        return names[2 * place + taken :][:1]

    with one_time():
        assert loop(desk, as_before, WORDS[::18], one_each, tmp_path) == len(names)


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_after_every_lie_every_command_says_and_writes_what_it_did_before(
    desk, as_before, tmp_path
):
    began_s = time.perf_counter()
    with one_time():
        n = loop(desk, as_before, WORDS, lambda *_: COMMANDS, tmp_path)
    took_s = time.perf_counter() - began_s
    assert n == 2 * len(WORDS) * len(COMMANDS)
    sys.stdout.write(f"\n{len(WORDS)} lies, {n} commands, {took_s:.0f} s\n")


def test_the_truth_is_taken(desk, tmp_path):
    """The bundle that all lies are made of is taken in by the same way."""
    desk.put(tmp_path, 1, desk.true)
    with Store.open(desk.new_home()) as store:
        report = receive(store, tmp_path, wall=hand.wall)
    assert report.refused == []
    assert report.outcomes["new"] == 1
