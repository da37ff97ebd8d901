"""What the conformance table says: names of the figures, headings, and the last line."""

from __future__ import annotations

from app.words._catalogue import _, ngettext
from app.words.numbers import MINUS


def command_help() -> str:
    """``swellmark conform --help``."""
    return _("Measure the standards' test signals and compare every figure with what it must be.")


def known_by_construction() -> str:
    """In place of a standard: the truth was put into the signal."""
    return _("known by construction")


def own_requirement() -> str:
    """In place of a standard: a demand of this program."""
    return _("own requirement")


def progress() -> str:
    """Label of the progress bar."""
    return _("Measuring test signals")


def at_rate(name: str, rate_hz: int) -> str:
    """A figure and the sample rate at which it was measured."""
    return _("{name}, {rate} kHz").format(name=name, rate=f"{rate_hz / 1000:g}")


def integrated() -> str:
    """BS.1770 programme loudness."""
    return _("integrated loudness")


def momentary_all_along(lowest: bool) -> str:
    """Lowest or highest reading of a momentary loudness that must not move."""
    return _("momentary loudness, lowest") if lowest else _("momentary loudness, highest")


def short_term_all_along(lowest: bool) -> str:
    """Lowest or highest reading of a short-term loudness that must not move."""
    return _("short-term loudness, lowest") if lowest else _("short-term loudness, highest")


def momentary_maximum(place: int) -> str:
    """Highest momentary loudness; several signals differ in where the burst lies."""
    return _("highest momentary loudness, burst {place}").format(place=place)


def short_term_maximum(place: int) -> str:
    """Highest short-term loudness; several signals differ in where the burst lies."""
    return _("highest short-term loudness, burst {place}").format(place=place)


def loudness_range() -> str:
    """Tech 3342."""
    return _("loudness range")


def one_channel_full_scale() -> str:
    """A full-scale sine in one channel."""
    return _("loudness of a full-scale 997 Hz sine in one channel")


def weighting_at(f_hz: int) -> str:
    """Response of the K-weighting."""
    return _("K-weighting at {f_hz} Hz").format(f_hz=f_hz)


def true_peak() -> str:
    """BS.1770 Annex 2."""
    return _("true peak")


def average_settled() -> str:
    """Where a steady tone ends up."""
    return _("slow average of a steady tone")


def average_rise() -> str:
    """First crossing of 99 %."""
    return _("slow average, time to 99 %")


def average_overshoot() -> str:
    """How far the average swings past."""
    return _("slow average, overshoot")


def average_release(percent: int) -> str:
    """After the tone stops."""
    return _("slow average, time back to {percent} %").format(percent=percent)


def average_burst(milliseconds: int) -> str:
    """Highest reading of a short tone, relative to a sustained one."""
    return _("slow average, burst of {milliseconds} ms").format(milliseconds=milliseconds)


def average_at_300_ms() -> str:
    """The reading at the end of a tone of 300 ms."""
    return _("slow average at 300 ms, share of the sustained reading")


def average_ripple(f_hz: int) -> str:
    """How much the reading of a low tone trembles."""
    return _("slow average, ripple at {f_hz} Hz").format(f_hz=f_hz)


def average_response(f_hz: int, lowest: bool) -> str:
    """Lowest or highest reading of a tone over all its phases."""
    name = (
        _("slow average of {f_hz} Hz, lowest phase")
        if lowest
        else _("slow average of {f_hz} Hz, highest phase")
    )
    return name.format(f_hz=f_hz)


def rms_of(what: str) -> str:
    """RMS level of a named signal."""
    return _("RMS level of {what}").format(what=what)


def full_scale_sine() -> str:
    """A signal's name."""
    return _("a full-scale sine")


def full_scale_square() -> str:
    """A signal's name."""
    return _("a full-scale square wave")


def dithered_silence(bits: int) -> str:
    """A signal's name."""
    return _("{bits}-bit silence with triangular dither").format(bits=bits)


def peak_of_largest_code(bits: int) -> str:
    """Sample peak of the largest positive code."""
    return _("peak of the largest {bits}-bit code").format(bits=bits)


def crest_of_sine() -> str:
    """Crest factor of a sine."""
    return _("crest of a sine")


def noise_floor(noise: str, percent: int) -> str:
    """Noise floor under playing."""
    if not percent:
        return _("noise floor, {noise}, nobody playing").format(noise=noise)
    return _("noise floor, {noise}, playing {percent} % of the time").format(noise=noise, percent=percent)


def white() -> str:
    """A noise's name."""
    return _("white")


def pink() -> str:
    """A noise's name."""
    return _("pink")


def rumble() -> str:
    """A noise's name."""
    return _("rumble under 120 Hz")


def noise_floor_a() -> str:
    """A-weighted noise floor."""
    return _("A-weighted noise floor, white, 20 Hz to 20 kHz")


def noise_floor_withheld() -> str:
    """Whether the chain declines to answer."""
    return _("noise floor withheld (1) where 95 % is playing")


def hum_frequency(what: str) -> str:
    """Which mains frequency was named; 0 for none."""
    return _("mains frequency found (0 for none), {what}").format(what=what)


def hum_level(what: str) -> str:
    """Level of the hum."""
    return _("level of the hum, {what}").format(what=what)


def hum_scene(f_hz: float, level_dbfs: float) -> str:
    """A hum under noise and playing."""
    return _("{f_hz} Hz at {level} dBFS under playing").format(
        f_hz=f"{f_hz:g}", level=f"{level_dbfs:g}".replace("-", MINUS)
    )


def playing_without_hum() -> str:
    """Noise and a bass, no hum."""
    return _("bass and noise without hum")


def held_bass_note() -> str:
    """A steady tone at a mains harmonic."""
    return _("a bass note held at 100 Hz")


def clipped_half_cycles() -> str:
    """How many runs were found."""
    return _("clipped half-cycles found")


def clip_start(what: str) -> str:
    """Where a clip begins."""
    return _("first frame of a clip, {what}").format(what=what)


def clip_length(what: str) -> str:
    """How long a clip is."""
    return _("frames of a clip, {what}").format(what=what)


def clips_found(what: str) -> str:
    """Clips in a signal that has none."""
    return _("clips found, {what}").format(what=what)


def highest_code(bits: int) -> str:
    """A clip's kind."""
    return _("highest {bits}-bit code").format(bits=bits)


def lowest_code() -> str:
    """A clip's kind."""
    return _("lowest code")


def beyond_full_scale() -> str:
    """A clip's kind."""
    return _("float samples beyond full scale")


def frames_at_full_scale(frames: int) -> str:
    """A short run."""
    return ngettext("{frames} frame at full scale", "{frames} frames at full scale", frames).format(
        frames=frames
    )


def overload_suspected(what: str) -> str:
    """Whether flat tops below full scale were reported: 1 or 0."""
    return _("overload before the converter suspected (1) or not (0), {what}").format(what=what)


def overloaded_chords() -> str:
    """A signal's name."""
    return _("chords cut 6 dB under their peak")


def clean_chords() -> str:
    """A signal's name."""
    return _("the same chords, clean")


def steady_sine() -> str:
    """A signal's name."""
    return _("a steady sine")


def square_wave_synth() -> str:
    """A signal's name."""
    return _("a square-wave synthesiser")


def source_heading() -> str:
    """Head of the column with standards."""
    return _("Standard")


def name_heading() -> str:
    """Head of the column with figures."""
    return _("Figure")


def measured_heading() -> str:
    """Head of the column with what was measured."""
    return _("Measured")


def required_heading() -> str:
    """Head of the column with what is required."""
    return _("Required")


def tolerance_heading() -> str:
    """Head of the column with tolerances."""
    return _("Tolerance")


def verdict_heading() -> str:
    """Head of the column with verdicts."""
    return _("Verdict")


def verdict(passed: bool) -> str:
    """Whether a figure is within its tolerance."""
    return _("met") if passed else _("missed")


def tolerance(low: str, high: str) -> str:
    """How far a figure may lie below and above."""
    return f"±{low}" if low == high else f"+{high} {MINUS}{low}"


def summary(met: int, total: int) -> str:
    """The last line."""
    if met == total:
        return ngettext(
            "The figure is within its tolerance.", "All {total} figures are within their tolerance.", total
        ).format(total=total)
    return _("{met} of {total} figures are within their tolerance.").format(met=met, total=total)


def proof_title() -> str:
    """Heading of the run in the window."""
    return _("The standards' test signals")


def proof_button(key: str) -> str:
    """Begins the run in the window."""
    return _("Prove the measuring · {key}").format(key=key)


def proof_running(done: int) -> str:
    """Heading while it runs."""
    return ngettext(
        "Running the test signals: {done} figure so far",
        "Running the test signals: {done} figures so far",
        done,
    ).format(done=done)


def proof_failed(detail: str) -> str:
    """The run itself broke."""
    return _("The run broke off: {detail}").format(detail=detail)
