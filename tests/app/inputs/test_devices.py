"""The list of devices, and what a name can mean."""

from __future__ import annotations

import pytest

from app.errors import DeviceError, UsageError
from app.inputs.devices import DeviceInfo, is_list_fresh, list_devices, query, resolve
from app.inputs.report import make_report, without_private_names
from app.inputs.spec import DeviceSpec, parse_spec


def found(text: str, devices) -> tuple[str, int, tuple[int, ...]]:
    device, channels = resolve(parse_spec(text), devices)
    return device.full_name, device.index, channels


@pytest.fixture
def devices(audio) -> tuple[DeviceInfo, ...]:
    return list_devices(audio)


def test_only_what_can_record_is_listed_with_its_host_api(devices):
    assert [(device.index, device.full_name, device.channels) for device in devices] == [
        (0, "ALSA/Desk pair (hw:0,0)", 2),
        (2, "ALSA/Rack eight", 8),
        (3, "JACK/Rack eight", 8),
        (4, "ALSA/hw:1,0", 4),
    ]
    assert [device.index for device in devices if device.is_default] == [2]


@pytest.mark.parametrize(
    ("text", "index", "channels"),
    [
        ("device:2", 2, (1, 2)),
        ("device:2:7", 2, (7,)),
        ("device:Desk pair (hw:0,0)", 0, (1, 2)),
        ("device:desk PAIR (hw:0,0):2,1", 0, (2, 1)),
        ("device:desk", 0, (1, 2)),
        ("device:ALSA/Rack eight:5,6", 2, (5, 6)),
        ("device:jack/rack eight:8", 3, (8,)),
        ("device:hw:1,0", 4, (1, 2)),
        ("device:hw:1,0:3", 4, (3,)),
        ("device:ALSA/hw:1,0:4,1", 4, (4, 1)),
        ("device:default", 2, (1, 2)),
        ("device:default:8", 2, (8,)),
    ],
)
def test_what_a_spec_means(devices, text, index, channels):
    assert found(text, devices)[1:] == (index, channels)


def test_what_is_remembered_opens_the_same_channels_again(devices):
    for device in devices:
        for channels in ((1,), (2, 1), tuple(range(1, device.channels + 1))):
            assert resolve(parse_spec(device.spec(channels)), devices) == (device, channels)


def test_a_device_that_is_away_is_not_replaced_by_its_neighbour(devices):
    with pytest.raises(DeviceError, match="No sound input is called “ALSA/Rack”"):
        found("device:ALSA/Rack:1", devices)


@pytest.mark.parametrize(
    ("text", "error", "words"),
    [
        ("device:Rack eight", DeviceError, r"any of these: ALSA/Rack eight \(2\); JACK/Rack eight \(3\)"),
        ("device:rack", DeviceError, "any of these"),
        ("device:1", DeviceError, "no sound input with number 1"),
        ("device:99", DeviceError, "number 99"),
        ("device:harmonium", DeviceError, "“harmonium”"),
        ("device:desk:9", DeviceError, r"no channel 9 on ALSA/Desk pair \(hw:0,0\): it has 2 channels"),
        ("device:desk:0", UsageError, "Channels count from 1"),
        ("device:desk:1,1", UsageError, "Channel 1 is asked for twice"),
    ],
)
def test_refusals(devices, text, error, words):
    with pytest.raises(error, match=words) as caught:
        found(text, devices)
    assert "\n" not in str(caught.value)


def test_what_stands_for_a_sound_server_is_opened_at_the_rate_of_servers(audio):
    def change(sd):
        sd.list[0].name, sd.list[0].rate_hz = "pulse", 44_100.0
        sd.list[3].name, sd.list[3].rate_hz = "pulse", 44_100.0  # under JACK: a name like any other
        return query(sd)

    devices = {device.full_name: device for device in audio.call(change)}
    assert (devices["ALSA/pulse"].default_rate_hz, devices["ALSA/pulse"].via_server) == (48_000.0, True)
    assert (devices["JACK/pulse"].default_rate_hz, devices["JACK/pulse"].via_server) == (44_100.0, False)


def test_no_default_device_and_odd_names(audio):
    def change(sd):
        sd.default = ""
        sd.list[0].name = "Two\r\n lines "
        return query(sd)

    devices = audio.call(change)
    assert not any(device.is_default for device in devices)
    assert devices[0].name == "Two lines"
    with pytest.raises(DeviceError, match="“default”"):
        resolve(DeviceSpec("default"), devices)


def test_the_list_is_old_while_a_stream_is_open(audio, monkeypatch):
    monkeypatch.setattr("app.inputs.elsewhere.look_afresh", lambda: None)
    assert is_list_fresh(audio)

    def open_one(sd):
        audio.stream_opened(sd)
        audio._listed_s -= 60

    audio.call(open_one)
    assert not is_list_fresh(audio)
    assert len(list_devices(audio)) == 4


def test_the_report_names_versions_and_devices(audio, monkeypatch):
    report = make_report(audio)
    assert report.versions["PortAudio"] == "PortAudio V19.7.0"
    assert report.versions["numpy"]
    assert report.host_apis == ("ALSA", "JACK")
    assert len(report.devices) == 4
    assert not report.problem


def test_the_report_survives_without_portaudio():
    from app.inputs.portaudio import AudioControl

    def load():
        raise DeviceError("The PortAudio library is missing.", "not found in /home/anna/lib")

    control = AudioControl(load)
    report = make_report(control)
    assert report.devices == ()
    assert "PortAudio library is missing" in report.problem
    control.shutdown()


def test_private_names_are_taken_out(monkeypatch, tmp_path):
    monkeypatch.setenv("HOME", "/home/anna")
    monkeypatch.setenv("USERPROFILE", "/home/anna")
    monkeypatch.setattr("getpass.getuser", lambda: "anna")
    assert without_private_names("/home/anna/x by anna's, not joannas") == "~/x by <user>'s, not joannas"
