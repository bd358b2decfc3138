"""What keeps it at home on Windows, read from the source: only what both systems have."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FILES = sorted(p for top in ("battery", "tasks", "norms") for p in (ROOT / top).rglob("*.py"))

# "Availability: Unix" (not Windows) in the Python Standard Library's reference, 3.11 to 3.13.
UNIX_MODULES = {
    "crypt", "curses", "fcntl", "grp", "nis", "posix", "pty", "pwd", "readline", "resource",
    "spwd", "syslog", "termios", "tty",
}  # fmt: skip
UNIX_NAMES = {
    "os": {
        "chown", "chroot", "fchdir", "fchown", "fork", "forkpty", "getegid", "geteuid",
        "getgid", "getloadavg", "getpgid", "getuid", "killpg", "lchown", "mkfifo", "mknod",
        "nice", "posix_fadvise", "posix_spawn", "pread", "pwrite", "register_at_fork",
        "sched_getaffinity", "sendfile", "setpgid", "setsid", "setuid", "statvfs", "sync",
        "uname", "wait", "wait3",
    },
    "signal": {"SIGALRM", "SIGHUP", "SIGKILL", "SIGUSR1", "SIGUSR2", "alarm", "pause",
               "setitimer", "sigwait"},
    "time": {"clock_gettime", "clock_gettime_ns", "tzset"},
    "font": {"SysFont", "match_font", "get_fonts"},  # of the system; ours lie in the program
}  # fmt: skip
# Where the systems differ, and nowhere else.
GUARDED = {
    "battery/commands/launcher.py", "battery/desk/starting.py", "battery/drives.py",
    "battery/files.py", "battery/packaging/folder.py", "battery/stage/screen/desktop.py",
    "battery/stage/screen/event_wait.py", "battery/stage/screen/window.py",
    "battery/stage/settings/kiosk.py",
}  # fmt: skip
UNIX_PATH = re.compile(
    r"(^|[\s'\"(=])(~|/(dev|etc|home|media|mnt|opt|proc|run|sys|tmp|usr|var))/"
)
NAMING_PATHS = {
    "battery/drives.py", "battery/packaging/debian.py", "battery/stage/screen/event_wait.py",
    "battery/stage/settings/kiosk.py",
}  # fmt: skip


def name_of(path):
    return path.relative_to(ROOT).as_posix()


def breaches(tree, name):
    """List what would fail, or go astray, on Windows."""
    for node in ast.walk(tree):
        if isinstance(node, (ast.Import, ast.ImportFrom)):
            names = (
                {a.name for a in node.names} if isinstance(node, ast.Import) else {node.module}
            )
            yield from (f"imports {n}" for n in names & UNIX_MODULES)
        elif isinstance(node, ast.Attribute):
            of = getattr(node.value, "id", getattr(node.value, "attr", ""))
            if node.attr in UNIX_NAMES.get(of, ()) and name not in GUARDED:
                yield f"{of}.{node.attr}"
            if (of, node.attr) in {("sys", "platform"), ("os", "name")} and name not in GUARDED:
                yield f"{of}.{node.attr} outside the modules for it"
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            if name not in NAMING_PATHS and UNIX_PATH.search(node.value):
                yield f"path {node.value!r}"
        elif isinstance(node, ast.Call):
            yield from _called(node)


def _called(node):
    what = getattr(node.func, "attr", getattr(node.func, "id", ""))
    given = {keyword.arg for keyword in node.keywords}
    if what == "get_context" and [a.value for a in node.args] != ["spawn"]:
        yield "processes that are not started anew"
    if what == "ProcessPoolExecutor" and "mp_context" not in given:
        yield "processes of the system's own kind"
    # Text is UTF-8 here; without a word Windows takes the code page of its country.
    positions = {"read_text": 0, "write_text": 1}
    if what in positions and len(node.args) <= positions[what] and "encoding" not in given:
        yield f"{what} without an encoding"
    if what == "open" and "encoding" not in given:
        modes = [a.value for a in node.args if isinstance(a, ast.Constant)]
        modes += [k.value.value for k in node.keywords if k.arg == "mode"]
        if any(re.fullmatch("[rwax][t+]*", str(mode)) for mode in modes):
            yield "open without an encoding"


def test_nothing_that_only_one_system_has():
    assert len(FILES) > 400
    found = {
        name_of(path): list(breaches(ast.parse(path.read_text("utf-8")), name_of(path)))
        for path in FILES
    }
    assert {name: told for name, told in found.items() if told} == {}


@pytest.mark.parametrize(
    "line",
    [
        "import fcntl", "from pwd import getpwnam", "os.fork()", "signal.SIGKILL",
        "pygame.font.SysFont('x', 1)", "sys.platform == 'win32'", "x = 'look in /tmp/a'",
        "x = '~/a'", "get_context('fork')", "ProcessPoolExecutor(2)", "path.read_text()",
        "path.write_text(x)", "path.open('w')", "open(x, 'r')",
    ],
)  # fmt: skip
def test_each_of_these_would_be_seen(line):
    assert list(breaches(ast.parse(line), "battery/any.py"))
