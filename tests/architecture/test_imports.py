"""The direction of imports, read from the source: an upper line imports lower lines only."""

import ast
import functools
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]

# From the top down. A part imports parts of lower lines, never its own line or above.
LINES = (
    ("battery.packaging",),
    ("battery.cli",),
    ("battery.commands",),
    ("battery.demo", "battery.joining", "battery.recovery"),
    ("battery.stage", "battery.desk"),
    ("battery.charting",),
    ("battery.report", "battery.export", "battery.handover"),
    ("battery.copies", "battery.trouble_notes", "battery.clinic_changes"),
    (
        "battery.visits",
        "battery.effective",
        "battery.alarms",
        "battery.flagging",
        "battery.machine",
        "battery.entered_by",
        "battery.people",
        "battery.drives",
        "battery.due",
        "battery.loop_delay",
        "battery.own_plan",
        "battery.comfort",
        "battery.home_plan",
        "battery.simulate",
        "battery.verify",
    ),
    ("battery.rescoring",),
    ("battery.workers",),
    ("battery.runner", "battery.store", "norms", "battery.playable", "battery.comparing"),
    (
        "battery.scoring",
        "battery.plan",
        "battery.answers",
        "battery.cautions",
        "battery.files",
    ),
    ("battery.forms",),
    ("battery.recording", "battery.cells", "battery.figures", "battery.looks"),
    ("tasks",),
)
EVERYWHERE = {"battery", "battery.errors", "battery.moments"}

# The same inside the larger folders: their files and folders, from the top down.
INSIDE = {
    "battery.stage": (
        ("tablet",),
        ("staff", "visit"),
        ("checks", "home_exercises"),
        ("pages",),
        ("drawing", "settings"),
        ("screen",),
        ("language",),
    ),
    "battery.scoring": (
        ("__main__",),
        ("document",),
        ("blocks", "trials", "gate", "flags", "measures"),
        ("scorers",),
        ("tapping", "slide", "pursuit", "trail"),
        ("jitter", "quality"),
        ("stats",),
        ("signal", "score", "definitions"),
        ("measure",),
    ),
    "battery.export": (
        ("archive",),
        ("bids", "checks"),
        ("reading", "writing"),
        ("on_disk",),
        ("fhir", "rows"),
        ("choosing", "dictionary", "redo"),
    ),
    "norms": (
        ("calibration", "sentences"),
        ("asymmetry", "composite", "multiplicity", "reliability", "series", "trend"),
        ("verdict",),
        ("band",),
        ("baseline", "limits", "pooled"),
        ("goals", "reference", "running", "scatter"),
        ("spread",),
        ("autocorrelation",),
    ),
}


def parts() -> list[str]:
    return [part for line in LINES for part in line]


def part_of(module: str) -> str | None:
    for part in parts():
        if module == part or module.startswith(part + "."):
            return part
    return module if module in EVERYWHERE else None


def rank(part: str) -> int:
    return next(index for index, line in enumerate(LINES) if part in line)


def sources() -> list[Path]:
    return sorted(
        p for top in ("battery", "tasks", "norms") for p in (ROOT / top).rglob("*.py")
    )


def module_name(path: Path) -> str:
    names = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(names[:-1] if names[-1] == "__init__" else names)


def at_import(body) -> list[ast.AST]:
    """Imports that are made when a module is, not when a function of it is called."""
    found = []
    for node in body:
        if isinstance(node, ast.Import | ast.ImportFrom):
            found.append(node)
        elif isinstance(node, ast.Try | ast.With | ast.ClassDef) or (
            isinstance(node, ast.If) and "TYPE_CHECKING" not in ast.dump(node.test)
        ):
            found += at_import(ast.iter_child_nodes(node))
    return found


def loaded_with(module: str) -> set[str]:
    """All modules that are loaded with one of ours, ours read to the end."""
    paths = {module_name(path): path for path in sources()}
    loaded: set[str] = set()
    todo = [module]
    while todo:
        name = todo.pop()
        if name in loaded:
            continue
        loaded.add(name)
        if "." in name:
            todo.append(name.rpartition(".")[0])
        if name not in paths:
            continue
        body = ast.parse(paths[name].read_text(encoding="utf-8")).body
        for node in at_import(body):
            if isinstance(node, ast.Import):
                todo += [alias.name for alias in node.names]
            else:
                todo += [node.module, *(f"{node.module}.{alias.name}" for alias in node.names)]
    return loaded


@functools.cache
def imports(path: Path) -> frozenset[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}: relative import"
            base = node.module or ""
            found.update(f"{base}.{alias.name}" for alias in node.names)
    return frozenset(found)


def upwards(path: Path) -> list[str]:
    """What a module imports that is not below it; all of ours where it may import nothing."""
    own = part_of(module_name(path))
    assert own is not None, f"{module_name(path)} has no line in the house"
    ours = [i for i in imports(path) if i.split(".")[0] in {"battery", "tasks", "norms"}]
    if own in EVERYWHERE:
        return ours
    others = {i: part_of(i) for i in ours}
    return [
        imported
        for imported, other in others.items()
        if other is not None
        and other not in EVERYWHERE
        and other != own
        and rank(other) <= rank(own)
    ]


def test_every_module_has_its_place_and_imports_downwards():
    assert len(sources()) > 400
    found = {module_name(path): upwards(path) for path in sources()}
    assert {name: told for name, told in found.items() if told} == {}


def room_of(folder: str, module: str) -> str | None:
    """The file or folder that a module is in, inside a folder; None for the folder itself."""
    rest = module.removeprefix(folder + ".")
    return None if rest == module else rest.split(".")[0]


@pytest.mark.parametrize("folder", INSIDE)
def test_a_folder_has_an_order_inside_as_well(folder):
    """What a folder offers as a whole may come from any of its rooms."""
    ranks = {room: index for index, line in enumerate(INSIDE[folder]) for room in line}
    inside = [p for p in sources() if room_of(folder, module_name(p))]
    rooms = {room_of(folder, module_name(path)) for path in inside}
    assert rooms == set(ranks), f"rooms without a line, or lines without a room, in {folder}"
    for path in inside:
        own = room_of(folder, module_name(path))
        for imported in imports(path):
            other = room_of(folder, imported)
            if other in ranks and other != own:
                wrong = f"{module_name(path)} imports {imported}, which is not below it"
                assert ranks[other] > ranks[own], wrong


def test_the_maps_for_developers_are_the_house_as_it_is():
    """If not: ``python -m tests.architecture.make_map``."""
    from tests.architecture.make_map import with_maps

    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert with_maps(text) == text


def test_pygame_is_imported_by_the_stage_alone():
    uses = {
        module_name(path)
        for path in sources()
        if any(i.split(".")[0] == "pygame" for i in imports(path))
    }
    assert uses
    assert [name for name in sorted(uses) if not name.startswith("battery.stage")] == []


@pytest.mark.parametrize("door", ["battery.stage.tablet", "battery.stage.visit"])
def test_what_a_patient_waits_for_starts_without_what_scores(door):
    """Scipy and the page's templates take longer to load than all the rest of a tablet."""
    loaded = loaded_with(door)
    assert "battery.store.store" in loaded
    assert "numpy" in loaded
    assert not loaded & {"scipy", "jinja2", "cryptography", "battery.report", "battery.export"}


def test_tasks_use_the_standard_library_only_and_norms_nothing_of_ours():
    for path in sources():
        tops = {i.split(".")[0] for i in imports(path)}
        if module_name(path).split(".")[0] == "tasks":
            assert tops <= set(sys.stdlib_module_names) | {"tasks"}, path
        if module_name(path).split(".")[0] == "norms":
            assert not tops & {"battery", "tasks"}, path


def test_tasks_read_no_clock_and_no_global_randomness():
    """`random.Random(seed)` is allowed where layouts are drawn; module functions are not."""
    for path in sources():
        if module_name(path).split(".")[0] != "tasks":
            continue
        for imported in imports(path):
            assert imported.split(".")[0] not in {"time", "datetime", "secrets", "os"}, path
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Attribute)
                and isinstance(node.value, ast.Name)
                and node.value.id == "random"
            ):
                assert node.attr == "Random", f"{path.name}: random.{node.attr}"
