"""Write the golden page anew, after a change of the page that is meant.

Run from the project's folder: ``python -m tests.golden.make_page``; then look at the page in a
browser and at the difference before it is committed.
"""

from pathlib import Path

from tests import report_cases as cases

GOLDEN = Path(__file__).with_name("page.html")


def made():
    """The page as the program writes it now, with a line for every mark of a drawing."""
    return cases.html_of("golden").replace("><", ">\n<")


if __name__ == "__main__":
    GOLDEN.write_text(made(), encoding="utf-8")
