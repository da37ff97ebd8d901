"""What is tested is what would be installed, and the rules of the house hold."""

import importlib
import importlib.util
import os
import signal
import subprocess
import sys
import sysconfig
from importlib import metadata, resources
from pathlib import Path

import pytest

import app
from app.coach.parts import shipped_parts

ROOT = Path(__file__).resolve().parent.parent


@pytest.mark.skipif("SWELLMARK_TEST_WHEEL" not in os.environ, reason="start.py --test installs the wheel")
def test_the_wheel_is_what_is_tested():
    installed = Path(sysconfig.get_path("purelib"))
    for name in ("app", "dsp", "assets"):
        assert Path(importlib.import_module(name).__file__).is_relative_to(installed)


def test_version_is_the_same_everywhere():
    assert metadata.version("swellmark") == app.__version__
    said = subprocess.run(
        [sys.executable, "-m", "app.cli", "--version"], capture_output=True, text=True, check=True
    )
    assert app.__version__ in said.stdout


def test_assets_are_found_wherever_the_program_lies():
    assets = resources.files("assets")
    assert (assets / "icon.svg").read_text(encoding="utf-8").lstrip().startswith(("<svg", "<?xml"))
    assert {"bass", "voice", "drums", "other"} <= set(shipped_parts())


def test_the_top_level_holds_nothing_else():
    shown = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if shown.returncode:
        pytest.skip("this is no git checkout")
    top = {name.partition("/")[0] for name in shown.stdout.splitlines()}
    visible = {name for name in top if not name.startswith(".")}
    assert visible == {"README.md", "DEVELOPERS.md", "pyproject.toml", "app", "dsp", "tests", "assets"}


@pytest.mark.parametrize("heavy", ["scipy.signal", "scipy", "soundfile", "sounddevice", "rich"])
def test_the_way_to_the_first_window_stays_short(heavy):
    code = f"import app.window.main, app.engine.loop, dsp.chain, sys; print({heavy!r} in sys.modules)"
    environment = {**os.environ, "QT_QPA_PLATFORM": "offscreen"}
    said = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env=environment
    )
    assert said.stdout.strip() == "False"


def test_no_module_of_dsp_needs_more_than_numpy_to_load():
    code = (
        "import pkgutil, importlib, sys, dsp\n"
        "for m in pkgutil.iter_modules(dsp.__path__): importlib.import_module('dsp.' + m.name)\n"
        "print([m for m in ('app', 'scipy.signal', 'PySide6', 'sounddevice') if m in sys.modules])"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "[]"


@pytest.fixture(scope="module")
def start():
    spec = importlib.util.spec_from_file_location("start", ROOT / "assets" / "start.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_setting_up_names_what_is_missing(start, monkeypatch, capsys):
    monkeypatch.setattr(start.sys, "platform", "linux")
    monkeypatch.setattr(start.ctypes.util, "find_library", lambda name: None if name == "portaudio" else name)
    monkeypatch.setattr(start, "alsa_reaches_pulse", lambda: True)
    monkeypatch.setattr(start, "has_venv", lambda: True)
    monkeypatch.setattr(start, "apt_command", lambda: None)
    start.bring_system_libraries(testing=False, bundling=False)
    said = capsys.readouterr().out
    assert "libportaudio2" in said
    assert "libgl1" not in said


def test_setting_up_names_what_a_bundle_is_built_with(start, monkeypatch):
    monkeypatch.setattr(start.shutil, "which", lambda name: None)
    monkeypatch.setattr(start.ctypes.util, "find_library", lambda name: None)
    monkeypatch.setattr(start.sys, "version_info", (3, 12, 1))
    monkeypatch.setattr(start.sys, "base_prefix", "/usr")
    assert start.missing_for_bundles() == ["binutils", "libpython3.12"]
    monkeypatch.setattr(start.sys, "base_prefix", "/home/player/python")
    assert start.missing_for_bundles() == ["binutils"]


@pytest.mark.parametrize("platform", ["win32", "darwin"])
def test_setting_up_asks_for_no_libraries_elsewhere(start, monkeypatch, platform):
    monkeypatch.setattr(start.sys, "platform", platform)
    monkeypatch.setattr(start, "missing_packages", lambda *, testing: pytest.fail("asked"))
    monkeypatch.setattr(start, "missing_for_bundles", lambda: pytest.fail("asked"))
    start.bring_system_libraries(testing=True, bundling=True)


def test_another_python_is_refused_in_one_line(start, monkeypatch, capsys):
    monkeypatch.setattr(start.sys, "version_info", (3, 9, 1))
    assert start.main([]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert "3.11" in said.err
    assert said.err.count("\n") == 1


def test_the_recipe_of_an_environment_follows_its_sources(start, monkeypatch, tmp_path):
    before = start.fingerprint(testing=True)
    assert before == start.fingerprint(testing=True) != start.fingerprint(testing=False)
    (tmp_path / "assets").mkdir()
    for name in ("pyproject.toml", "assets/constraints.txt"):
        (tmp_path / name).write_text((ROOT / name).read_text(encoding="utf-8") + "#\n", encoding="utf-8")
    monkeypatch.setattr(start, "ROOT", tmp_path)
    assert start.fingerprint(testing=True) != before


@pytest.mark.skipif(sys.platform == "win32", reason="the tools are stood in for by scripts")
@pytest.mark.parametrize("broken", ["ruff", "lint-imports", "mypy", "pytest", ""])
def test_every_check_decides_and_all_are_told_of(start, tmp_path, capfd, broken):
    for tool in ("ruff", "lint-imports", "mypy", "pytest"):
        script = tmp_path / tool
        script.write_text(f"#!/bin/sh\necho {tool} speaks $*\nexit {int(tool == broken)}\n")
        script.chmod(0o755)
    assert start.run_tests(str(tmp_path / "python"), ["-k", "loudness"]) == (2 if broken else 0)
    said = capfd.readouterr()
    assert {line.split(" speaks")[0] for line in said.out.splitlines() if " speaks" in line} == {
        *("ruff", "lint-imports", "mypy", "pytest")
    }
    assert "-k loudness" in said.out
    assert ("All checks and tests passed." in said.out) == (not broken)
    assert not broken or f"Failed: {broken}" in said.err


@pytest.mark.parametrize("line", ["--soak", "--soak soon", "--soak 0", "--soak nan", "--bench spoons"])
def test_a_bench_that_is_not_there_is_refused_before_anything_is_set_up(start, monkeypatch, capsys, line):
    monkeypatch.setattr(start, "bring_system_libraries", lambda **_: pytest.fail("set up"))
    assert start.main(line.split()) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_the_benches_that_start_names_are_there(start):
    named = [bench for bench, *_ in (*start.BENCHES.values(), *start.soak(1.0))]
    assert named
    assert all((ROOT / "tests" / "bench" / bench).is_file() for bench in named)


@pytest.mark.skipif(sys.platform == "win32", reason="a Ctrl-C cannot be sent to one process there")
def test_a_bench_that_is_interrupted_ends_without_a_traceback(start, tmp_path):
    (tmp_path / "beside.py").write_text("SECONDS = 60\n")
    (tmp_path / "waits.py").write_text(
        "import sys, time, beside\n"
        "assert __name__ == '__main__' and __file__.endswith('waits.py') and sys.argv[1:] == ['--long']\n"
        "print('on', flush=True)\n"
        "time.sleep(beside.SECONDS)\n"
    )
    command = [sys.executable, "-c", start.RUN_BENCH, tmp_path, "waits.py", "--long"]
    bench = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert bench.stdout.readline() == "on\n"
    bench.send_signal(signal.SIGINT)
    assert bench.communicate(timeout=20) == ("", "")
    assert bench.returncode == start.INTERRUPTED


INTERRUPTED = """
import importlib.util, pathlib, sys
spec = importlib.util.spec_from_file_location("start", sys.argv[1])
start = importlib.util.module_from_spec(spec)
spec.loader.exec_module(start)
start.ROOT = pathlib.Path(sys.argv[2])
try:
    start.run_benches(sys.executable, [["waits.py"], ["never.py"]])
except KeyboardInterrupt:
    sys.exit(start.stop("Interrupted."))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="a Ctrl-C cannot be sent to one process there")
def test_after_a_ctrl_c_a_bench_puts_away_and_no_further_one_is_begun(tmp_path):
    folder = tmp_path / "tests" / "bench"
    folder.mkdir(parents=True)
    (folder / "machine.py").write_text("def describe(): return 'a machine'\n")
    (folder / "waits.py").write_text(
        "import time\ntry:\n    print('on', flush=True)\n    time.sleep(60)\n"
        "finally:\n    print('put away', flush=True)\n"
    )
    run = subprocess.Popen(
        [sys.executable, "-c", INTERRUPTED, ROOT / "assets" / "start.py", tmp_path],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    said = [run.stdout.readline() for _ in range(3)]
    assert said == ["a machine\n", "· waits.py\n", "on\n"]
    run.send_signal(signal.SIGINT)
    assert run.communicate(timeout=30) == ("put away\n", "Interrupted.\n")
