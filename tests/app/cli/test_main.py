"""The command line as a whole: usage, exit status, one line for each error."""

from __future__ import annotations

import importlib

import pytest

from app.errors import DeviceError


@pytest.mark.parametrize(
    "arguments",
    [
        ("nonsense",),
        ("--nonsense",),
        ("--input", "nonsense"),
        ("--input", "player", "watch"),
        ("check",),
        ("check", "--nonsense", "x.wav"),
        ("check", "x" * 5000),
        ("check", "--part", "kazoo", "x.wav"),
        ("check", "--take-seconds", "nan", "x.wav"),
        ("check", "--take-seconds", "0.5", "x.wav"),
        ("check", "--take-seconds", "soon", "x.wav"),
        ("watch", "--input", ""),
        ("watch", "--input", "nonsense"),
        ("watch", "--input", "file:"),
        ("watch", "--input", "file:/no/such/file.wav"),
        ("watch", "--input", "file:/"),
        ("watch", "--input", "file:\x1b[2J\n[red]"),
        ("watch", "--input", "file:" + "x" * 5000),
        ("watch", "--input", "player:kazoo"),
        ("watch", "--input", "player:bass:loud"),
        ("watch", "--input", "player:bass:nan"),
        ("watch", "--part", "kazoo"),
        ("watch", "--seconds", "nan"),
        ("watch", "--seconds", "inf"),
        ("watch", "--seconds", "0"),
        ("watch", "--seconds", "-1"),
        ("takes", "show", "x"),
        ("takes", "show", "99"),
        ("takes", "export", "1"),
        ("takes", "export", "99", "--to", "x.json"),
        ("inputs", "surplus"),
        ("conform", "surplus"),
    ],
    ids=lambda arguments: " ".join(arguments)[:40].encode("unicode_escape").decode(),
)
def test_wrong_usage_is_one_line_and_status_2(run, arguments):
    result = run(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    (line,) = result.stderr.splitlines()
    assert line.startswith("swellmark: ")
    assert "\x1b" not in line


@pytest.mark.parametrize("command", [(), ("inputs",), ("watch",), ("check",), ("takes",), ("takes", "list")])
def test_every_command_has_help(run, command):
    result = run(*command, "--help")
    assert result.exit_code == 0
    assert result.stdout.startswith("Usage:")
    assert result.stderr == ""


def test_the_version(run):
    assert run("--version").exit_code == 0


def test_a_fault_of_the_program_is_one_line_too(run, monkeypatch):
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("by nought")

    monkeypatch.setattr(importlib.import_module("app.cli.check"), "Checking", broken)
    result = run("check", "x.wav")
    assert result.exit_code == 2
    (line,) = result.stderr.splitlines()
    assert "fault in the program" in line
    assert "ZeroDivisionError: by nought" in line


def test_what_the_system_refuses_is_one_line(run, monkeypatch):
    def refused(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied", "x.wav")

    monkeypatch.setattr(importlib.import_module("app.cli.check"), "Checking", refused)
    result = run("check", "x.wav")
    assert result.exit_code == 2
    assert result.stderr == "swellmark: x.wav: Permission denied\n"


def test_the_inputs_are_listed_even_without_portaudio(run, monkeypatch, strict_json):
    def missing() -> None:
        raise DeviceError("PortAudio is missing.")

    monkeypatch.setattr(importlib.import_module("app.cli.inputs"), "list_devices", missing)
    result = run("inputs", "--json")
    assert result.exit_code == 0
    document = strict_json(result.stdout)
    assert document["devices"] == []
    assert document["problem"] == "PortAudio is missing."
    assert {each["spec"] for each in document["player"]} >= {"player:bass", "player:voice", "player:drums"}


def test_a_home_that_cannot_be_written_does_not_keep_files_from_being_measured(
    run, sound, phrases, monkeypatch
):
    def refused() -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("app.settings.config_folder", refused)
    assert run("check", sound("fair.wav", phrases(-15.0))).exit_code == 0
