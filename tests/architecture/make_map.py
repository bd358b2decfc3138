"""Draw the maps of DEVELOPERS.md from what holds: python -m tests.architecture.make_map."""

from tests.architecture.test_imports import INSIDE, LINES, ROOT


def drawn(lines):
    """Write lines of names as they stand in a map."""
    told = ("   ".join(name.removeprefix("battery.") for name in line) for line in lines)
    return "\n" + "\n".join(told) + "\n"


def with_maps(text):
    """Put every map in its place."""
    text = _after(text, "## The house", drawn(LINES).replace("norms", "norms*"))
    for folder, lines in INSIDE.items():
        text = _after(text, f"Inside `{folder.replace('.', '/')}/`", drawn(lines))
    return text


def _after(text, mark, block):
    before, after = text.split(mark, 1)
    head, _, tail = after.split("```", 2)
    return f"{before}{mark}{head}```{block}```{tail}"


if __name__ == "__main__":
    path = ROOT / "DEVELOPERS.md"
    path.write_text(with_maps(path.read_text(encoding="utf-8")), encoding="utf-8", newline="\n")
