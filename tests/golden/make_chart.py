"""Write the golden FHIR bundle anew, after a change of it that is meant.

Run from the project's folder: ``python -m tests.golden.make_chart``; then look at the
difference before it is committed. A change of what is written where raises
`battery.export.fhir.names.FORM`.
"""

import json
from pathlib import Path

from tests import charts

GOLDEN = Path(__file__).with_name("chart.json")


def made():
    """The bundle of the invented person as the program writes it now."""
    return json.dumps(charts.shortened(charts.bundle()), indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    GOLDEN.write_text(made(), encoding="utf-8")
