"""The program with a drive plugged in: ``python -m tests.desk.desk_child FOLDER desk ...``.

Nobody can plug a real stick into a machine that tests; the system's list of drives is all that
is made up.
"""

import sys
from types import SimpleNamespace

import psutil

from battery import drives
from battery.cli import app

if __name__ == "__main__":
    folder = sys.argv.pop(1)
    drives.PLACES = (folder,)
    psutil.disk_partitions = lambda **_: [SimpleNamespace(mountpoint=folder, opts="rw")]
    app()
