"""A Debian package of the folder: menu entries, icon, session for a tablet, system parts.

Layout and fields follow the Debian Policy Manual 4.7 (binary packages, control files) and the
Desktop Entry and Icon Theme specifications of freedesktop.org.
"""

from __future__ import annotations

import shutil
import subprocess
from importlib.metadata import version
from pathlib import Path

from battery.errors import PackagingError
from battery.packaging.folder import NAME, PROGRAM

PLACE = Path("usr/lib") / NAME
# What the toolkit opens at run time, and what the layout of a PDF takes.
DEPENDS = (
    "libc6 (>= 2.31)", "libx11-6", "libxext6", "libxcursor1", "libxi6", "libxfixes3",
    "libxrandr2", "libxss1", "libgl1", "libpango-1.0-0", "libpangoft2-1.0-0",
    "libharfbuzz-subset0", "libfontconfig1", "fonts-dejavu-core",
)  # fmt: skip
RECOMMENDS = ("chromium | firefox-esr | www-browser", "xdg-utils", "xinit")
ABOUT = """weekly test of hand-eye coordination on a tablet
 Targets to touch, a chip to follow, to slide and to lead along a trail, with each
 hand; a page of what changed against the person's own baseline beyond measurement
 error. For research, education and record-keeping under a licensed clinician's care;
 not a diagnosis. Everything stays on the machine it runs on."""
ENTRIES = {
    "desk": (
        "Coordination battery: clinic",
        "Koordinationstest: Praxis",
        "The clinic's people, their pages and what waits",
        "Die Personen der Praxis, ihre Seiten und was zu tun ist",
    ),
    "tablet": (
        "Coordination battery: tablet",
        "Koordinationstest: Tablet",
        "The start page of the people who use this tablet",
        "Die Startseite der Personen, die dieses Tablet benutzen",
    ),
}
ICON_PX = (48, 128, 256)


def build_package(
    folder: Path, target: Path, *, workplace: Path, icons: dict[int, Path]
) -> Path:
    """Make the package and return its file.

    Parameters
    ----------
    folder : Path
        The program, as `battery.packaging.folder` builds it.
    target : Path
        Folder for the package.
    workplace : Path
        For the tree it is made from.
    icons : dict of int to Path
        PNG files by their side in pixels.

    Raises
    ------
    PackagingError
        If Debian's tools are not here, or refuse, or nothing can be put there.
    """
    if shutil.which("dpkg-deb") is None:
        msg = "dpkg-deb is not on this machine; make the package on Debian. Nothing was made"
        raise PackagingError(msg)
    tree = workplace / "tree"
    shutil.rmtree(tree, ignore_errors=True)
    shutil.copytree(folder, tree / PLACE, symlinks=True)
    (tree / "usr/bin").mkdir(parents=True)
    (tree / "usr/bin" / PROGRAM).symlink_to(Path("/") / PLACE / PROGRAM)
    for name in ENTRIES:
        _write(tree / f"usr/share/applications/{NAME}-{name}.desktop", menu_entry(name))
    _write(tree / f"usr/share/xsessions/{NAME}.desktop", session_entry())
    for side_px, picture in icons.items():
        place = tree / f"usr/share/icons/hicolor/{side_px}x{side_px}/apps/{NAME}.png"
        place.parent.mkdir(parents=True)
        shutil.copyfile(picture, place)
    size_kb = sum(p.lstat().st_size for p in tree.rglob("*") if p.is_file()) // 1024
    _write(tree / "DEBIAN/control", control(version(NAME), _architecture(), size_kb))
    for path in tree.rglob("*"):
        if not path.is_symlink():
            path.chmod(0o755 if path.is_dir() or path.name == PROGRAM else 0o644)
    try:
        target.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        msg = (
            f"'{target}' cannot be the folder for the package: {error.strerror}; none was made"
        )
        raise PackagingError(msg) from error
    package = target / f"{NAME}_{version(NAME)}_{_architecture()}.deb"
    _tool("dpkg-deb", "--build", "--root-owner-group", "-Zxz", str(tree), str(package))
    return package


def control(version_: str, architecture: str, size_kb: int) -> str:
    """Return the control file of the package."""
    return (
        f"Package: {NAME}\n"
        f"Version: {version_}\n"
        f"Architecture: {architecture}\n"
        "Maintainer: Coordination battery <nobody@localhost>\n"
        f"Installed-Size: {size_kb}\n"
        f"Depends: {', '.join(DEPENDS)}\n"
        f"Recommends: {', '.join(RECOMMENDS)}\n"
        "Section: science\n"
        "Priority: optional\n"
        f"Description: {ABOUT}\n"
    )


def menu_entry(name: str) -> str:
    """Return the entry of the desktop's menu that starts a command without a terminal."""
    title, title_de, about, about_de = ENTRIES[name]
    return (
        "[Desktop Entry]\n"
        "Type=Application\n"
        "Version=1.5\n"
        f"Name={title}\n"
        f"Name[de]={title_de}\n"
        f"Comment={about}\n"
        f"Comment[de]={about_de}\n"
        f"Exec={PROGRAM} {name}\n"
        f"Icon={NAME}\n"
        "Terminal=false\n"
        "Categories=Science;MedicalSoftware;\n"
    )


def session_entry() -> str:
    """Return a session that shows the tablet's start page and nothing else."""
    return (
        "[Desktop Entry]\n"
        "Type=Application\n"
        "Name=Coordination battery\n"
        "Comment=The start page of the people who use this tablet, and nothing beside it\n"
        f"Exec=/{PLACE.as_posix()}/{PROGRAM} tablet\n"
        f"TryExec=/{PLACE.as_posix()}/{PROGRAM}\n"
    )


def _architecture() -> str:
    return _tool("dpkg", "--print-architecture").strip()


def _write(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")


def _tool(*command: str) -> str:
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        why = (done.stderr or done.stdout).strip().splitlines()[-1:] or ["no reason was given"]
        msg = f"{command[0]} refused: {why[0]}; no package was made"
        raise PackagingError(msg)
    return done.stdout
