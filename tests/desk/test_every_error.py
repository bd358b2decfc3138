"""Every line that can come from below onto a screen of the desk has its German.

The lines are read from the source of every module that the desk imports, or that those import;
what stands in a blank is made up. A message that is worded later without a form turns this red.
"""

import ast
import re
from datetime import timedelta
from functools import cache
from pathlib import Path

import pytest

import battery
from battery.desk.retelling import retold
from battery.handover.receiving import OUTCOMES, missing_lines, outcome_lines
from battery.moments import length_words
from battery.store.base import describe
from battery.store.merging import Received

ROOT = Path(battery.__file__).parents[1]
OURS = ("battery", "norms", "tasks")
# What is imported and cannot speak to somebody at the desk.
ELSEWHERE = {
    "battery.export": "reads an export again, or puts many together: commands of researchers",
    "battery.report.keeping_fits": "what was kept of it is made again where it is not whole",
    "battery.report.keeping": "what was kept of reading is read anew where it is not whole",
    "battery.scoring": "a block that cannot be scored has no scores, and a flag",
    "battery.simulate": "simulated people",
    "battery.loop_delay": "a film of a tablet: a command",
    "norms": "a withheld verdict says so itself, see test_retelling",
    "battery.workers": "a mistake of ours, caught by a calm sentence",
    "battery.moments": "a mistake of ours, caught by a calm sentence",
    "battery.handover.sending": "the tablet",
    "battery.handover.receipts": "the tablet",
    "battery.handover.signed": "the tablet",
    "battery.store.writer": "the tablet",
    "battery.store.settings": "settings that were stored",
    "battery.store.rebuild": "said of a stored block or visit, whose line is told around it",
    "battery.runner": "the tablet",
    "tasks.contract": "a mistake of ours, caught by a calm sentence",
    "tasks.registry": "a mistake of ours, caught by a calm sentence",
}
AT_THE_DESK = (
    "battery.export.choosing.selection", "battery.export.on_disk.table_files",
    "battery.export.writing.parts", "battery.export.bids.bids_files",
    "battery.export.reading.block_rows",
)  # fmt: skip
ONLY_SAID_ELSEWHERE = (
    "the folder holds a clinic key",
    "'{folder}' holds",
    "the tablet's secret key",
    "this tablet knows no clinic",
    "enrolled differently here; nothing was overwritten",
    "was erased here; nothing was taken in",
    "speak of somebody else",
    "minutes must be above",
    "a rest day must",
    "symptoms must be",
    "symptoms_before must",
    "clear_beats_per_min must",
    "is not known; say one of {all_known}",
    "write it as 2026-03-04",
    "no paper ",
    "replay",
    "{name}: {cause}; {way_out}",
)  # of the tablet, or of a command, in a module that the desk needs for something else
NESTED = ("error", "why", "told", "cause_of(error.__cause__)", "problems[0]", "found")
OF_A_FIELD = ("where", "field", "name", "what", "target", "kind", "column.name", "item", "part")


@cache
def tree_of(module):
    path = ROOT.joinpath(*module.split("."))
    file = path / "__init__.py" if path.is_dir() else path.with_suffix(".py")
    return ast.parse(file.read_text(encoding="utf-8")) if file.is_file() else None


def imported_by(module):
    for node in ast.walk(tree_of(module)):
        if isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)
        elif isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)


def reached():
    """Modules of ours that the desk imports, and theirs."""
    found, left = set(), ["battery.desk.app"]
    while left:
        module = left.pop()
        if module in found or module.split(".")[0] not in OURS or tree_of(module) is None:
            continue
        found.add(module)
        left += imported_by(module)
    return sorted(found)


def is_elsewhere(module):
    return module not in AT_THE_DESK and any(
        module == name or module.startswith(f"{name}.") for name in ELSEWHERE
    )


def sample(node):
    """Fill the blanks of a text that is put together in the source; None of another thing."""
    if isinstance(node, ast.Constant):
        return node.value if isinstance(node.value, str) else None
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
        return sample(node.func.value)  # as with .rstrip()
    if not isinstance(node, ast.JoinedStr):
        return None
    parts = []
    for part in node.values:
        parts.append(part.value if isinstance(part, ast.Constant) else blank(part))
    return "".join(parts)


def blank(part):
    said = ast.unparse(part.value)
    shape = ast.unparse(part.format_spec) if part.format_spec else ""
    if part.conversion in (ord("r"), ord("a")) or said.startswith(("ascii(", "repr(")):
        return "'x7'"
    if "strerror" in said:
        return "No space left on device"
    if said.startswith("type(error)"):
        return "KeyError"
    if ".join(" in said or said in ("can", "known", "words"):
        return "one, two"
    if said in SPECIAL:
        return SPECIAL[said]
    if (
        shape
        or "len(" in said
        or re.fullmatch(r"[\w.]*[A-Z]{2,}\w*|n_\w+|.*bytes|.*_size", said)
    ):
        return "3"
    if said.startswith("_cause"):
        return "'x7'"  # what Python says of a file that is broken
    if said.split("(")[0] in NESTED or said.startswith("error"):
        return "it goes too deep"
    if said in OF_A_FIELD:
        return "blocks.3.samples" if said == "where" else "minutes"
    return NUMBERS.get(said, "K7QF")


SPECIAL = {
    "entry.exercise": "slide",
    "way_out": "say it",
    "hint": "enrolled are K7QF, M4WX",
    "odd": " (it holds 'a.csv')",
    "earlier": "an earlier export too",
    "WAY_OUT": "install 'coordination-battery[pdf]', or a browser of the Chromium family, or "
    "open the page and print it",
    "SERVER_SCHEMES[0]": "postgresql://",
    "table.name": "goals",
    "key.parent.name": "person",
    "name or 'it'": "it",
    "today": "2026-12-04",
    "day": "2026-12-04",
    "self.since": "2026-12-04",
    "self.until": "2026-12-03",
}
NUMBERS = dict.fromkeys(
    (
        "level", "number", "version", "array", "low", "most", "year", "done", "n_left",
        "self.text_percent", "self.volume_percent", "told[0]", "told[1]", "item.number",
        "n_parts", "most_bytes", "values['record_version']", "n_letters", "n_numbers",
        "file.metadata.num_rows", "job.n_samples", "block.ended_ns", "last_ns", "row",
        "int(t_ns[row])",
    ),
    "3",
)  # fmt: skip


def messages(module):
    """Give the lines of a module, each with the number of its line."""
    for node in ast.walk(tree_of(module)):
        texts = []
        if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "msg":
            texts = [node.value]
        elif isinstance(node, ast.Call) and getattr(node.func, "id", "").endswith("Error"):
            texts = node.args[:1]
        elif isinstance(node, ast.Call) and getattr(node.func, "id", "") == "wait_for_update":
            yield node.lineno, f"{WAITS[0]}{sample(node.args[0])}{WAITS[1]}"
        elif isinstance(node, ast.Yield) and node.value is not None and (
            module == "battery.verify"
        ):  # fmt: skip
            texts = [node.value]
        for text in texts:
            source = ast.unparse(text)
            if (told := sample(text)) and not any(
                said in source or said in told for said in ONLY_SAID_ELSEWHERE
            ):
                yield node.lineno, told


WAITS = (
    "a later program on the tablet made it: it has ",
    ", which is not known here. Nothing is lost: the file stays here and the visit on the "
    "tablet. Update the program of this clinic, then receive again",
)


@cache
def lines():
    """Where each stands, and what it says; to find them reads all that the desk imports."""
    return [
        (f"{module}:{line}", told)
        for module in reached()
        if not is_elsewhere(module)
        for line, told in messages(module)
    ]


ENGLISH = re.compile(
    r"\b(the|is|are|not|no|cannot|has|have|this|nothing|of|and|be|should|it|say|there)\b", re.I
)


def unknown_in(text):
    """Return what is left of a line as it was, whole or within what is told."""
    left = []
    german = retold(text, "de", left.append)
    quoted = re.sub(r"'[^']*'", "", german)
    return left + ([german] if not left and ENGLISH.search(quoted) else [])


def test_the_lines_are_found():
    assert len(lines()) > 230
    assert set(AT_THE_DESK) <= set(reached())


def test_every_line_has_its_german():
    left = {f"{where} {told}": unknown_in(told) for where, told in lines()}
    assert {where: parts for where, parts in left.items() if parts} == {}


@pytest.mark.parametrize(
    ("said", "german"),
    [
        (
            "slide: minutes is 999.0: say 0.25 to 60. Nothing was stored",
            "Schieben: Minuten 999.0: möglich sind 0.25 bis 60. Nichts wurde gespeichert",
        ),
        (
            "no plan '/a, b; c.toml': name standard, short, or the path of a plan file",
            "kein Plan '/a, b; c.toml': nennen Sie standard, short oder den Pfad einer "
            "Plandatei",
        ),
        (
            "cannot write '/media/stick/a. b': No space left on device. Everything is kept in "
            "the store; free some space or name another folder, then try again",
            "„/media/stick/a. b“ lässt sich nicht schreiben: kein Platz mehr auf dem Laufwerk. "
            "Alles bleibt gespeichert; schaffen Sie Platz oder nennen Sie einen anderen Ordner "
            "und versuchen Sie es dann noch einmal",
        ),
        (
            "'K7QF.bundle': beside.visit.answers: number is 7: input should be less than or "
            "equal to 5",
            "'K7QF.bundle': beside.visit.answers: number ist 7: es dürfte höchstens 5 sein",
        ),
        (
            "tablet 1a2b: bundles 2, 4 to 7 have not been received",
            "Tablet 1a2b: die Pakete 2, 4–7 sind nicht angekommen",
        ),
        (
            "reason is empty; say it. Nothing was stored",
            "der Grund fehlt; füllen Sie das Feld aus. Nichts wurde gespeichert",
        ),
    ],
)
def test_some_of_them_word_by_word(said, german):
    assert unknown_in(said) == []
    assert retold(said, "de") == german


def test_what_did_not_come_is_told_as_it_is_found():
    def came(number, previous="", replaces=(), sha="a" * 64):
        return Received(
            fingerprint="1a2b 3c4d", number=number, sha256=sha, previous_sha256=previous,
            person=None, visit_id=None, content_sha256=None, replaces=replaces, received_utc="",
        )  # fmt: skip

    lines = missing_lines([came(2), came(2, sha="b" * 64), came(3, previous="c"), came(60)])
    assert len(lines) == 3
    assert [unknown_in(line) for line in lines] == [[]] * 3


def test_what_became_of_bundles_is_told_one_or_many():
    for n in (1, 3):
        for line in outcome_lines(dict.fromkeys(OUTCOMES, n)):
            assert line.startswith(str(n))
            assert unknown_in(line) == []
            assert retold(line, "de").startswith(str(n))


@pytest.mark.parametrize(("minutes", "said"), [(7, "7 min"), (300, "5 h"), (10532, "7 Tage")])
def test_how_far_a_clock_is_ahead_is_told_in_plain_units(minutes, said):
    length = length_words(timedelta(minutes=minutes))
    line = f"tablet 1a2b 3c4d: its clock is {length} ahead of this one; set one of them right, "
    german = retold(f"{line}dates of visits depend on it", "de")
    assert f"Die Uhr des Tablets 1a2b 3c4d geht gegenüber dieser um {said} vor" in german


@pytest.mark.parametrize(
    "cause",
    ["file is not a database", "attempt to write a readonly database",
     "database or disk is full", "database is locked", "disk I/O error"],
)  # fmt: skip
def test_what_a_database_says_is_told_with_the_way_out(cause):
    from sqlalchemy.exc import OperationalError

    line = str(
        describe(OperationalError("", None, Exception(cause)), "'/data/x/battery.sqlite'")
    )
    assert unknown_in(line) == []
    assert cause not in retold(line, "de")
