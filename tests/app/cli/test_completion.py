"""The shell's completion, asked as a shell asks, and the man page."""

import importlib.util
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from app.cli.main import main

PAGE = Path(__file__).parents[3] / "assets" / "ship" / "manpage.py"


def completed(line):
    words = line.split(" ")
    environment = os.environ | {
        "_SWELLMARK_COMPLETE": "bash_complete",
        "COMP_WORDS": line,
        "COMP_CWORD": str(len(words) - 1),
    }
    run = subprocess.run(
        [sys.executable, "-c", "from app.cli.main import main; main(prog_name='swellmark')"],
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    )
    return [entry.partition(",")[2] for entry in run.stdout.split()]


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("swellmark c", {"check", "conform", "completion"}),
        ("swellmark check --part dr", {"drums"}),
        ("swellmark watch --part 2=dr", {"2=drums"}),
        ("swellmark watch --input player:b", {"player:bass"}),
        ("swellmark takes s", {"show"}),
    ],
)
def test_a_shell_is_told_what_fits(line, expected):
    assert expected <= set(completed(line))


@pytest.mark.parametrize("shell", ["fish", "zsh"])
def test_the_script_asks_the_program(shell):
    run = CliRunner().invoke(main, ["completion", shell])
    assert run.exit_code == 0
    assert "_SWELLMARK_COMPLETE" in run.output


def test_the_man_page_is_in_step_with_the_commands():
    spec = importlib.util.spec_from_file_location("manpage", PAGE)
    manpage = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(manpage)
    written = PAGE.with_name("swellmark.1").read_text(encoding="utf-8")
    assert written == manpage.page(), "run assets/ship/manpage.py"
    for command in ("watch", "takes export", "conform"):
        assert f".It Cm {command}" in written
