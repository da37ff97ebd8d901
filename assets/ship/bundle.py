"""Build the bundle for people without Python, and try it.

    python assets/ship/bundle.py [FOLDER]

Needs the ``bundle`` extra in the environment that the program runs from. FOLDER (``.bundle`` in the checkout
unless given) then holds ``dist/swellmark`` with everything in it; on macOS, ``dist/Swellmark.app``. What was
built is started without the Python that built it: a few commands, and its window for some seconds.
Nothing here crosses from one system to another: build each on its own.
"""

from __future__ import annotations

import importlib.metadata
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
_SIZES = (16, 24, 32, 48, 64, 128, 256, 512)
_LICENCE = re.compile(r"(licen[cs]e|copying|notice|authors)", re.IGNORECASE)


def main(arguments: list[str]) -> int:
    """Build and try."""
    folder = Path(arguments[0] if arguments else ROOT / ".bundle").resolve()
    folder.mkdir(parents=True, exist_ok=True)
    draw_icons(folder / "icons")
    collect_licences(folder / "licences")
    build(folder)
    return try_out(folder / "dist" / "swellmark")


def draw_icons(folder: Path) -> None:
    """The icon in the formats of Windows and macOS, from its drawing."""
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    from PIL import Image
    from PySide6.QtGui import QGuiApplication, QIcon

    application = QGuiApplication([])
    folder.mkdir(exist_ok=True)
    icon = QIcon(str(ROOT / "assets" / "icon.svg"))
    for size in _SIZES:
        icon.pixmap(size, size).save(str(folder / f"{size}.png"))
    del application
    images = [Image.open(folder / f"{size}.png") for size in _SIZES]
    images[-2].save(folder / "swellmark.ico", append_images=images[:-2])
    images[-1].save(folder / "swellmark.icns", append_images=images[:-1])


def collect_licences(folder: Path) -> None:
    """The licence of everything that goes into the bundle, as its package brings it."""
    shutil.rmtree(folder, ignore_errors=True)
    for name in sorted(needed_packages("swellmark") | {"pyinstaller"}):
        distribution = importlib.metadata.distribution(name)
        texts = [file for file in distribution.files or () if _LICENCE.search(file.name)]
        target = folder / name
        target.mkdir(parents=True)
        facts = distribution.metadata
        licence = facts.get("License-Expression") or facts.get("License") or "see the package"
        (target / "ABOUT.txt").write_text(
            f"{facts['Name']} {distribution.version}\n{licence}\n{facts.get('Home-page') or ''}\n",
            encoding="utf-8",
        )
        for file in texts:
            source = Path(str(distribution.locate_file(file)))
            if source.is_file() and source.suffix not in {".py", ".pyc"}:
                shutil.copy(source, target / source.name)


def needed_packages(name: str) -> set[str]:
    """A package and all that it needs to run."""
    found: set[str] = set()
    waiting = [name]
    while waiting:
        this = re.sub(r"[-_.]+", "-", waiting.pop()).lower()
        if this in found:
            continue
        try:
            requirements = importlib.metadata.requires(this) or ()
        except importlib.metadata.PackageNotFoundError:
            continue  # for another system, or another version of Python
        found.add(this)
        waiting += [
            re.split(r"[\s;<>=!~\[(]", requirement, maxsplit=1)[0]
            for requirement in requirements
            if "extra ==" not in requirement
        ]
    return found


def build(folder: Path) -> None:
    """Run the recipe."""
    command = [sys.executable, "-m", "PyInstaller", "--noconfirm", "--clean", "--log-level", "WARN"]
    places = ["--distpath", folder / "dist", "--workpath", folder / "work"]
    recipe = ROOT / "assets" / "ship" / "swellmark.spec"
    subprocess.run([*command, *places, recipe], check=True, cwd=folder)


def try_out(program_folder: Path) -> int:
    """Start what was built as somebody would who has no Python; 0 when all of it worked."""
    program = program_folder / ("swellmark.exe" if os.name == "nt" else "swellmark")
    with tempfile.TemporaryDirectory() as home:
        environment = strangers_environment(Path(home))
        for arguments, expected, statuses in (
            (["--version"], importlib.metadata.version("swellmark"), (0,)),
            (["inputs"], "player", (0,)),
            # 1 is an answer, too: there is something to do about the gain.
            (["watch", "--input", "player", "--seconds", "3", "--json"], '"verdict"', (0, 1)),
        ):
            run = subprocess.run(
                [program, *arguments],
                env=environment,
                capture_output=True,
                text=True,
                check=False,
                timeout=300,
            )
            if run.returncode not in statuses or expected not in run.stdout:
                print(f"swellmark {' '.join(arguments)}: exit status {run.returncode}\n{run.stderr}")
                return 1
            print(f"swellmark {' '.join(arguments)}: works")
        window = subprocess.Popen([program], env=environment, stderr=subprocess.PIPE, text=True)
        try:
            window.wait(8)
        except subprocess.TimeoutExpired:
            window.terminate()
            window.wait(30)
            print("the window: opened, and stayed open")
        else:
            complaint = window.stderr.read() if window.stderr else ""
            print(f"the window: ended by itself with {window.returncode}\n{complaint}")
            return 1
    size_mb = sum(file.stat().st_size for file in _files(program_folder)) / 1e6
    print(f"{program_folder}: {size_mb:.0f} MB")
    return 0


def strangers_environment(home: Path) -> dict[str, str]:
    """The environment of somebody who has neither this Python nor a log."""
    keep = {"DISPLAY", "WAYLAND_DISPLAY", "XAUTHORITY", "QT_QPA_PLATFORM", "SYSTEMROOT", "TEMP", "TMP"}
    environment = {name: value for name, value in os.environ.items() if name in keep}
    if sys.platform.startswith("linux") and not keep & environment.keys() & {"DISPLAY", "WAYLAND_DISPLAY"}:
        environment["QT_QPA_PLATFORM"] = "offscreen"
    return environment | {"HOME": str(home), "PATH": os.defpath, "LANGUAGE": "en"}


def _files(folder: Path) -> Iterator[Path]:
    return (file for file in folder.rglob("*") if file.is_file() and not file.is_symlink())


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
