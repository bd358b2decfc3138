"""A process of its own that shows the patch and says how long it took itself.

``python tests/screen/loop_child.py N``: after so many touches it writes the times as JSON.
"""

import json
import sys

import battery.stage  # noqa: F401  # sets the toolkit's environment
from battery.stage.pages.loop import PatchPage
from battery.stage.screen.window import Window

if __name__ == "__main__":
    page = PatchPage("touch", int(sys.argv[1]))
    with Window(windowed=False, known={}) as window:
        page.run(window)
    told = {"took_ns": page.took_ns, "gaps_ns": page.gaps_ns, "program_ms": page.program_ms}
    sys.stdout.write(json.dumps(told))
