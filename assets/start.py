#!/usr/bin/env python3
"""Set everything up and open Swellmark.

    python3 assets/start.py             set up, then open the window
    python3 assets/start.py COMMAND …   set up, then run a command: inputs, watch, check, takes, conform
    python3 assets/start.py --test      set up, then run every check and test
    python3 assets/start.py --bench [NAME …]
                                        set up, then print the tables of the benches, in a few minutes each
    python3 assets/start.py --soak HOURS
                                        set up, then try for so long whether anything is lost, leaks or breaks
    python3 assets/start.py --pictures  set up, then take the README's pictures; --all FOLDER: every screen
    python3 assets/start.py --bundle    set up, then build the bundle for people without Python, and try it

Needs Python 3.11 to 3.14 and nothing else: packages go into a folder inside this checkout (.venv to run,
.venv-test to test), never into the system. System libraries are installed on Debian and its relatives when
that is allowed (as root, or with sudo that asks for no password); elsewhere this says which are missing.
"""

from __future__ import annotations

import ctypes.util
import hashlib
import os
import shutil
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
OLDEST, NEWEST = (3, 11), (3, 14)

# Library → Debian package. PortAudio opens inputs; the rest is what Qt needs to show a window.
RUN_LIBRARIES = {
    "portaudio": "libportaudio2",
    "asound": "libasound2",
    "EGL": "libegl1",
    "GL": "libgl1",
    "dbus-1": "libdbus-1-3",
    "fontconfig": "libfontconfig1",
    "glib-2.0": "libglib2.0-0",
    "xkbcommon": "libxkbcommon0",
    "xkbcommon-x11": "libxkbcommon-x11-0",
    "xcb-cursor": "libxcb-cursor0",
    "xcb-icccm": "libxcb-icccm4",
    "xcb-image": "libxcb-image0",
    "xcb-keysyms": "libxcb-keysyms1",
    "xcb-render-util": "libxcb-render-util0",
    "xcb-shape": "libxcb-shape0",
    "xcb-xkb": "libxcb-xkb1",
}
# Programs that the tests drive: a sound server of their own and a screen of their own.
TEST_PROGRAMS = {"pulseaudio": "pulseaudio", "paplay": "pulseaudio-utils", "Xvfb": "xvfb"}
ALSA_TO_PULSE = "libasound2-plugins"  # lets PortAudio reach a PulseAudio or PipeWire server
FONTS = "fonts-dejavu-core"
TRIALS = ("--test", "--bench", "--soak")
MAKERS = {"--pictures": "assets/pictures.py", "--bundle": "assets/ship/bundle.py"}
CONSTRAINTS = ("--constraint", ROOT / "assets" / "constraints.txt")
PATIENCE_S = 20.0
"""How long a bench may take to put things away."""
INTERRUPTED = 130
"""What a program that a Ctrl-C ended exits with."""
RENAMED = {"libasound2": "libasound2t64", "libglib2.0-0": "libglib2.0-0t64"}  # since Debian 13


def main(arguments: list[str]) -> int:
    """Set up, then hand over to the program or to the tests."""
    if arguments[:1] in (["-h"], ["--help"]):
        print(__doc__)
        return 0
    if not OLDEST <= sys.version_info[:2] <= NEWEST:
        return stop(
            f"Swellmark needs Python {dotted(OLDEST)} to {dotted(NEWEST)}, and this is "
            f"{dotted(sys.version_info[:2])}. Run it with another one, like python3.12 assets/start.py"
        )
    task = arguments[0] if arguments and arguments[0] in (*TRIALS, *MAKERS) else ""
    if wrong := misused(task, arguments[1:]):
        return stop(wrong)
    testing = task in TRIALS
    try:
        bring_system_libraries(testing=testing, bundling=task in ("--test", "--bundle"))
        python = bring_environment(testing=testing)
    except subprocess.CalledProcessError as error:
        command = " ".join(str(part) for part in error.cmd[:6])
        return stop(f"Setting up failed: {command} … (exit status {error.returncode}; see above)")
    return perform(task, python, arguments)


def perform(task: str, python: str, arguments: list[str]) -> int:
    """Do what was asked for, now that everything is there."""
    match task:
        case "--test":
            return run_tests(python, arguments[1:])
        case "--bench":
            return run_benches(python, [[*BENCHES[name]] for name in arguments[1:] or BENCHES])
        case "--soak":
            return run_benches(python, soak(float(arguments[1])))
        case "--pictures" | "--bundle":
            return make(python, MAKERS[task], arguments[1:])
    return subprocess.call([python, "-m", "app.cli", *arguments])


def make(python: str, script: str, arguments: list[str]) -> int:
    """Make something of the program, with the tools that this takes."""
    try:
        pip(Path(python), "install", *CONSTRAINTS, "--editable", f"{ROOT}[bundle]")
    except subprocess.CalledProcessError as error:
        return stop(f"The tools could not be installed (exit status {error.returncode}; see above)")
    return subprocess.call([python, ROOT / script, *arguments])


# System libraries


def bring_system_libraries(*, testing: bool, bundling: bool) -> None:
    """Install what is missing where that is possible; say exactly what is missing where it is not."""
    if not sys.platform.startswith("linux"):
        return  # on Windows and macOS the packages bring all they need
    packages = missing_packages(testing=testing) + (missing_for_bundles() if bundling else [])
    if not packages:
        return
    apt = apt_command()
    if apt is None:
        say("These system libraries are missing: " + ", ".join(packages) + " (their names in Debian).")
        if shutil.which("apt-get"):
            say("Install them with:  sudo apt-get install " + " ".join(packages))
        else:
            say("Install them with the package manager of your system, then start again.")
        say("Going on without them: what needs them will say so.")
        return
    say("Installing system libraries: " + " ".join(packages))
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    subprocess.run([*apt, "update", "-q"], env=environment, check=False, stdout=subprocess.DEVNULL)
    known = [renamed(package) for package in packages]
    subprocess.run(
        [*apt, "install", "-q", "-y", "--no-install-recommends", *known],
        env=environment,
        check=True,
        stdout=subprocess.DEVNULL,
    )


def missing_packages(*, testing: bool) -> list[str]:
    """Debian's names of what is not there."""
    missing = [package for library, package in RUN_LIBRARIES.items() if not ctypes.util.find_library(library)]
    if shutil.which("dpkg") and not alsa_reaches_pulse():
        missing.append(ALSA_TO_PULSE)
    if not any(Path(folder).is_dir() for folder in ("/usr/share/fonts", "/usr/local/share/fonts")):
        missing.append(FONTS)
    if testing:
        missing += [package for program, package in TEST_PROGRAMS.items() if not shutil.which(program)]
    if not has_venv() and shutil.which("dpkg"):
        missing.append("python3-venv")
    return missing


def missing_for_bundles() -> list[str]:
    """Debian's names of what a bundle is built with and is not there."""
    missing = [] if shutil.which("objdump") else ["binutils"]
    own = f"python{dotted(sys.version_info[:2])}"
    # A bundle needs Python as a library, and Debian ships its own apart.
    if sys.base_prefix == "/usr" and not ctypes.util.find_library(own):
        missing.append(f"lib{own}")
    return missing


def alsa_reaches_pulse() -> bool:
    """Whether ALSA's plug-in for PulseAudio is there."""
    return any(Path("/usr/lib").glob("*/alsa-lib/libasound_module_pcm_pulse.so"))


def has_venv() -> bool:
    """Whether this Python can make an environment; Debian ships that apart."""
    return succeeds(sys.executable, "-c", "import venv, ensurepip")


def apt_command() -> list[str] | None:
    """How to call apt-get with the rights that it needs; None when that is not possible."""
    if not shutil.which("apt-get"):
        return None
    if os.geteuid() == 0:
        return ["apt-get"]
    can_sudo = shutil.which("sudo") and succeeds("sudo", "-n", "true")
    return ["sudo", "-n", "apt-get"] if can_sudo else None


def renamed(package: str) -> str:
    """The name that this release has for a package."""
    other = RENAMED.get(package)
    if other is None:
        return package
    return other if succeeds("apt-cache", "show", other) else package


def succeeds(*command: str) -> bool:
    """Whether a command ends well; what it says does not matter."""
    return subprocess.run(command, capture_output=True, check=False).returncode == 0


# Python packages


def bring_environment(*, testing: bool) -> str:
    """Make or renew the environment, and return its Python."""
    folder = ROOT / (".venv-test" if testing else ".venv")
    python = folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    stamp = folder / "made-from"
    recipe = fingerprint(testing=testing)
    if python.exists() and stamp.exists() and stamp.read_text() == recipe:
        if testing:
            install_wheel(python)
        return str(python)
    say(f"Setting up {folder.name} (once; a minute or two) …")
    subprocess.run([sys.executable, "-m", "venv", "--clear", folder], check=True)
    what = f"{ROOT}[test,bundle]" if testing else str(ROOT)
    # Editable to run, so that the checkout is the program; the tests get the wheel that users would get.
    pip(python, "install", "--no-compile", *CONSTRAINTS, *([] if testing else ["--editable"]), what)
    # With every processor, where pip uses one; as pip does, it passes over what is not for this Python.
    compiling = [python, "-m", "compileall", "-q", "-j", "0", folder]
    subprocess.run(compiling, check=False, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    stamp.write_text(recipe)
    return str(python)


def fingerprint(*, testing: bool) -> str:
    """Everything that decides what goes into the environment."""
    parts = [sys.version, str(ROOT), str(testing)]
    recipes = ("pyproject.toml", "assets/constraints.txt")
    parts += [(ROOT / recipe).read_text(encoding="utf-8") for recipe in recipes]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def install_wheel(python: Path) -> None:
    """Build the wheel and put it in place of the one that is there."""
    with tempfile.TemporaryDirectory() as folder:
        pip(python, "wheel", "--no-deps", "--wheel-dir", folder, ROOT)
        (wheel,) = Path(folder).glob("*.whl")
        pip(python, "install", "--no-deps", "--force-reinstall", wheel)


def pip(python: Path, *arguments: object) -> None:
    """Run pip in the environment."""
    command = [python, "-m", "pip", "--quiet", "--disable-pip-version-check", *map(str, arguments)]
    subprocess.run(command, check=True, cwd=ROOT)


# Tests


def run_tests(python: str, more: list[str]) -> int:
    """Run every check and every test against the installed wheel; the first failure decides."""
    tools = Path(python).parent
    environment = {**os.environ, "SWELLMARK_TEST_WHEEL": "1"}
    if sys.platform.startswith("linux") and shutil.which("pulseaudio"):
        environment["SWELLMARK_REQUIRE_LIVE"] = "1"
    checks = [
        ["ruff", "check"],
        ["ruff", "format", "--check"],
        ["lint-imports"],
        ["pytest", "-n", str(workers()), "--dist", "worksteal", *more],
    ]
    failed = []
    with tempfile.TemporaryFile("w+", encoding="utf-8", errors="replace") as said:
        # Beside the others, which do not keep every processor busy; what it says is shown at the end.
        types = subprocess.Popen([tools / "mypy"], cwd=ROOT, env=environment, stdout=said, stderr=said)
        for command in checks:
            say(" ".join(command))
            if subprocess.call([tools / command[0], *command[1:]], cwd=ROOT, env=environment):
                failed.append(command[0])
        if types.wait():
            failed.append("mypy")
        say("mypy")
        said.seek(0)
        print(said.read(), end="", flush=True)
    if failed:
        return stop("Failed: " + ", ".join(failed))
    say("All checks and tests passed.")
    return 0


def workers() -> int:
    """How many to test with: one more than there are processors, for one mostly waits (tests/conftest.py)."""
    return min(8, os.cpu_count() or 2) + 1


# Benches

BENCHES = {
    "speed": ("speed.py",),
    "window": ("window.py",),
    "capture": ("capture.py", "--minutes", "2", "--drops", "1"),
    "faults": ("faults.py", "--times", "20"),
    "restarts": ("restarts.py", "--times", "60"),
    "fuzz": ("fuzz.py", "--examples", "200"),
    "soak": ("soak.py", "--minutes", "4"),
    "kill": ("kill.py", "--count", "30"),
    "log": ("log_size.py",),
}
"""Name → the bench and a size of it that takes minutes."""


def soak(hours: float) -> list[list[str]]:
    """The long tests: an eighth of the time each for what ends by count, half for the sound."""
    minutes = 60.0 * hours
    return [
        ["capture.py", "--minutes", f"{0.5 * minutes:g}"],
        ["soak.py", "--minutes", f"{0.125 * minutes:g}", "--speed", "20"],
        ["faults.py", "--times", f"{max(5, round(5 * minutes))}"],
        ["restarts.py", "--times", f"{max(10, round(10 * minutes))}"],
        ["fuzz.py", "--examples", f"{max(50, round(40 * minutes))}"],
    ]


def misused(task: str, arguments: list[str]) -> str:
    """Say what is wrong with what follows a task; nothing when all is well."""
    if task == "--bench" and (unknown := [name for name in arguments if name not in BENCHES]):
        return f"There is no bench called {unknown[0]}; there are {', '.join(BENCHES)}."
    if task == "--soak":
        try:
            hours = float(arguments[0]) if len(arguments) == 1 else 0.0
        except ValueError:
            hours = 0.0
        if not 0.0 < hours <= 1000.0:
            return "--soak takes a number of hours: python3 assets/start.py --soak 8"
    return ""


RUN_BENCH = """
import runpy, sys
folder, bench, *arguments = sys.argv[1:]
sys.path[0] = folder
sys.argv = [folder + "/" + bench, *arguments]
try:
    runpy.run_path(sys.argv[0], run_name="__main__")
except KeyboardInterrupt:
    sys.exit(130)
"""
"""Runs a bench as a program; a Ctrl-C needs no traceback."""


def run_benches(python: str, benches: list[list[str]]) -> int:
    """Run benches one after the other; those that judge decide, after all have run."""
    folder = ROOT / "tests" / "bench"
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    subprocess.call([python, "-c", "import machine; print(machine.describe())"], cwd=folder, env=environment)
    failed = []
    for bench, *arguments in benches:
        say(" ".join([bench, *arguments]))
        if run_bench([python, "-c", RUN_BENCH, folder, bench, *arguments], environment):
            failed.append(bench)
    if failed:
        return stop("Not as it should be: " + ", ".join(failed))
    say("All of them ended well.")
    return 0


def run_bench(command: list[str | Path], environment: dict[str, str]) -> int:
    """Run one to its end; of a Ctrl-C, only it learns, and puts away what it has started."""
    bench = subprocess.Popen(list(map(str, command)), env=environment, start_new_session=True)
    try:
        return bench.wait()
    except KeyboardInterrupt:
        bench.send_signal(signal.SIGINT)
        try:
            bench.wait(PATIENCE_S)
        except (KeyboardInterrupt, subprocess.TimeoutExpired):
            bench.kill()
        raise


# Talking


def say(text: str) -> None:
    """Say what happens."""
    print(f"· {text}", flush=True)


def stop(text: str) -> int:
    """Say why it ends here."""
    print(text, file=sys.stderr)
    return 2


def dotted(version: tuple[int, ...]) -> str:
    """``3.12``."""
    return ".".join(map(str, version))


if __name__ == "__main__":
    try:
        sys.exit(main(sys.argv[1:]))
    except KeyboardInterrupt:
        stop("Interrupted.")
        sys.exit(INTERRUPTED)
