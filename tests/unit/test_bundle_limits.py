"""Small bundles of an accepted tablet that would unpack to much: named, with little memory.

Each is signed by the tablet and has every hash put right, so that only the limits stand between
it and the memory. All are received by the command, in one process whose peak is read.
"""

import json
import subprocess
import sys

import pytest

from battery.recording import SAMPLE_DTYPE
from tests import clinic as made_up
from tests.lied_to import Desk
from tests.sparing import only

MAX_MORE_KB = 200_000
ROW = SAMPLE_DTYPE.itemsize

CHILD = """
import pathlib, sys
from typer.testing import CliRunner
from battery.cli import app
from battery.errors import BatteryError

home, *sticks = sys.argv[1:]
for stick in sticks:
    done = CliRunner().invoke(app, ["receive", stick, "--home", home])
    if not isinstance(done.exception, (type(None), SystemExit, BatteryError)):
        raise done.exception
    said = " ".join(f"{done.output} {done.exception or ''}".split())
    status = pathlib.Path("/proc/self/status").read_text()  # not of who started it
    print(done.exit_code, status.split("VmHWM:")[1].split()[0], said, sep="\\t")
"""


def one_huge_part(bundle):
    bundle.parts["001.samples"] = bytes(ROW * (90_000_000 // ROW))


def the_largest_parts_there_may_be(bundle):
    """Each within its limit, together just within that of all."""
    for name in ("000", "001"):
        bundle.parts[f"{name}.samples"] = bytes(ROW * (30_000_000 // ROW))


def many_parts(bundle):
    bundle.parts |= {f"{number:03d}.more": b"" for number in range(5_000)}


def events_of_many_values(bundle):
    bundle.parts["001.events"] = b"[" + b"[]," * 600_000 + b"[]]"


def events_that_go_deep(bundle):
    bundle.parts["001.events"] = b"[" * 100_000 + b"]" * 100_000


def a_long_text(bundle):
    bundle.facts["reason"] = "x" * 30_000_000


def settings_of_many_values(bundle):
    bundle.block["settings"]["more"] = [[]] * 200_000


def rows_beside_without_end(bundle):
    bundle.beside["visit"]["answers"] = [{"number": 1}] * 70_000


def a_schema_of_many_columns(bundle):
    bundle.manifest["schema"]["samples"] = [[f"c{n}", "<i8"] for n in range(30_000)]


def a_plan_of_many_tasks(bundle):
    tasks = ",".join(['{"task": "slide"}'] * 40_000)
    bundle.record["plan"] = f'{{"name": "own", "tasks": [{tasks}]}}'


BOMBS = {
    one_huge_part: "bytes; refused",
    the_largest_parts_there_may_be: "came in another version than before",
    many_parts: "parts; refused",
    events_of_many_values: "values; refused",
    events_that_go_deep: "does not hold together",
    a_long_text: "bytes; refused",
    settings_of_many_values: "values; refused",
    rows_beside_without_end: "",
    a_schema_of_many_columns: "column",
    a_plan_of_many_tasks: "tasks has",
}
FEW = [one_huge_part, a_plan_of_many_tasks]


@pytest.mark.skipif(sys.platform != "linux", reason="the peak is read from /proc")
@pytest.mark.parametrize("bombs", only([FEW, list(BOMBS)], [FEW]), ids=["few", "all"])
def test_a_small_bundle_that_unpacks_to_much_is_named_with_little_memory(tmp_path, bombs):
    made_up.make_small(tmp_path / "made")
    desk = Desk(tmp_path, tmp_path / "made")
    desk.lies = {bomb: (bomb, words) for bomb, words in BOMBS.items()}
    sticks = []
    for number, bomb in enumerate([None, *bombs]):
        stick = tmp_path / f"stick {number}"
        stick.mkdir()
        desk.put(stick, 1, desk.true if bomb is None else desk.forged(bomb))
        assert (stick / "x_000001.cbundle").stat().st_size < 3_000_000
        sticks.append(str(stick))
    done = subprocess.run(
        [sys.executable, "-c", CHILD, str(desk.new_home()), *sticks],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    told = [line.split("\t") for line in done.stdout.splitlines()]
    assert told[0][0] == "0", told[0]
    whole_kb = int(told[0][1])
    for bomb, (status, peak_kb, said) in zip(bombs, told[1:], strict=True):
        harmless = bomb is the_largest_parts_there_may_be
        assert status == ("0" if harmless else "1"), (bomb.__name__, said)
        assert BOMBS[bomb] in said, (bomb.__name__, said)
        assert int(peak_kb) - whole_kb < MAX_MORE_KB, (bomb.__name__, peak_kb, whole_kb)
    sys.stdout.write(json.dumps([int(peak) - whole_kb for _, peak, _ in told[1:]]))
