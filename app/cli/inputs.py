"""``swellmark inputs``: what can be opened, and the line to paste for each."""

from __future__ import annotations

from typing import Any

import click
from rich import box
from rich.table import Table

import app
from app.cli import terminal
from app.cli.options import json_option, print_json
from app.errors import DeviceError
from app.inputs.devices import DeviceInfo, list_devices
from app.inputs.player import PARTS
from app.inputs.report import Report, make_report, without_private_names
from app.inputs.spec import PlayerSpec
from app.words import inputs as words


@click.command(help=words.inputs_help())
@click.option("--report", "as_report", is_flag=True, help=words.report_help())
@json_option
def inputs(as_report: bool, as_json: bool) -> None:
    """List the inputs."""
    if as_report:
        report = make_report()
        if as_json:
            print_json(_report_document(report))
        else:
            click.echo(_report_text(report))
        return
    problem = ""
    try:
        devices = list_devices()
    except DeviceError as error:  # files and the player are there all the same
        devices, problem = (), str(error)
    if as_json:
        print_json(_document(devices, problem))
        return
    if devices:
        terminal.console().print(_table(devices))
    else:
        click.echo(f"{problem or words.no_devices()}\n")
    player = [str(PlayerSpec(part)) for part in PARTS]
    for heading, specs in (words.player_heading(), player), (words.file_heading(), [words.file_form()]):
        click.echo("\n  ".join((heading, *specs)))


def _table(devices: tuple[DeviceInfo, ...]) -> Table:
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0))
    table.add_column(words.number_heading(), justify="right", no_wrap=True)
    table.add_column(words.host_api_heading(), no_wrap=True)
    table.add_column(words.channels_heading(), justify="right", no_wrap=True)
    table.add_column(words.rate_heading(), justify="right", no_wrap=True)
    table.add_column(words.spec_heading(), overflow="fold")
    for device in devices:
        table.add_row(
            f"{device.index}{words.default_mark() if device.is_default else ''}",
            device.host_api,
            str(device.channels),
            words.rate(device.default_rate_hz),
            _plain(device.spec()),
        )
    return table


def _plain(text: str) -> Any:
    from rich.text import Text  # a device's name may hold square brackets, which are markup otherwise

    return Text(text)


def _device(device: DeviceInfo) -> dict[str, Any]:
    return {
        "index": device.index,
        "host_api": device.host_api,
        "name": device.name,
        "channels": device.channels,
        "default_rate_hz": device.default_rate_hz,
        "is_default": device.is_default,
        "via_server": device.via_server,
        "spec": device.spec(),
    }


def _document(devices: tuple[DeviceInfo, ...], problem: str) -> dict[str, Any]:
    return {
        "swellmark": app.__version__,
        "devices": [_device(device) for device in devices],
        "player": [{"part": part, "spec": str(PlayerSpec(part))} for part in PARTS],
        "problem": problem or None,
    }


def _report_document(report: Report) -> dict[str, Any]:
    devices = [_device(device) for device in report.devices]
    for device in devices:
        device["name"], device["spec"] = (without_private_names(device[key]) for key in ("name", "spec"))
    return {
        "versions": report.versions,
        "system": report.about,
        "host_apis": list(report.host_apis),
        "devices": devices,
        "problem": report.problem or None,
        "last_run": report.last_run or None,
    }


def _report_text(report: Report) -> str:
    lines = [
        f"{name}: {value or words.not_there()}" for name, value in (report.versions | report.about).items()
    ]
    lines.append(words.host_apis_line(report.host_apis))
    lines += [
        words.device_line(
            device.index,
            without_private_names(device.full_name),
            device.channels,
            device.default_rate_hz,
            is_default=device.is_default,
        )
        for device in report.devices
    ]
    if report.problem:
        lines.append(report.problem)
    lines.append(words.last_run_line() if report.last_run else words.no_last_run())
    lines += [f"  {name}: {value}" for name, value in report.last_run.items() if value != ""]
    return "\n".join(lines)
