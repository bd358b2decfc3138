"""A PostgreSQL server of our own for the tests: fresh, local, gone afterwards.

The server's programs are the operating system's (Debian: postgresql). It listens on a socket
in a folder of its own only.
"""

import os
import pwd
import shutil
import subprocess
import tempfile
from contextlib import contextmanager
from pathlib import Path

PLACES = "/usr/lib/postgresql/*/bin"


def programs():
    """The folder of the newest server installed, or None."""
    if found := shutil.which("postgres"):
        return Path(found).resolve().parent
    places = sorted(Path("/").glob(PLACES.lstrip("/") + "/postgres"))
    return places[-1].parent if places else None


@contextmanager
def server():
    """Start a server and yield the address of its database; stop it at the end."""
    # It refuses to run as the system's administrator.
    user = pwd.getpwnam("postgres") if os.getuid() == 0 else pwd.getpwuid(os.getuid())
    as_user = {"user": user.pw_uid, "group": user.pw_gid} if os.getuid() == 0 else {}
    environment = {"PATH": os.environ["PATH"], "LC_ALL": "C.UTF-8"}
    tools = programs()
    with tempfile.TemporaryDirectory(prefix="pg-", ignore_cleanup_errors=True) as folder:
        os.chown(folder, user.pw_uid, user.pw_gid)
        data = f"{folder}/data"

        def run(*words):
            subprocess.run(
                words, check=True, cwd=folder, env=environment, stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL, **as_user,
            )  # fmt: skip

        run(tools / "initdb", "-D", data, "-U", "tester", "-A", "trust", "--no-sync")
        options = f"-c listen_addresses= -c unix_socket_directories={folder} -c fsync=off"
        run(tools / "pg_ctl", "-D", data, "-o", options, "-w", "-l", f"{folder}/log", "start")
        try:
            yield f"postgresql://tester@/postgres?host={folder}"
        finally:
            run(tools / "pg_ctl", "-D", data, "-m", "immediate", "stop")
