"""The words of the trade and our own, explained for somebody who hears them for the first time."""

from __future__ import annotations

from dataclasses import dataclass

from app.words._catalogue import _
from app.words.advice import explanation, term_explanation, verdict_name


@dataclass(frozen=True, slots=True)
class Term:
    """A word and what it means here."""

    key: str
    """For links."""
    name: str
    text: str
    own: bool = False
    """A word of ours, as opposed to one of the trade."""


def page_title() -> str:
    """On the page's button."""
    return _("Words")


def page_tip() -> str:
    """What the page is for."""
    return _("Every word on these screens, explained in a few sentences.")


def list_name() -> str:
    """What a screen reader calls the list of words."""
    return _("Words")


def text_name(name: str) -> str:
    """What a screen reader calls the explanation of a word."""
    return _("What “{name}” means").format(name=name)


def own_word() -> str:
    """Beside a word that other programs do not use."""
    return _("Our own word.")


def trade_word() -> str:
    """Beside a word that the trade uses."""
    return _("A word of the trade.")


def explain_tip(name: str) -> str:
    """On whatever leads to a word's explanation."""
    return _("Explains “{name}”.").format(name=name)


def all_words_button(key: str) -> str:
    """From one explanation to all of them."""
    return _("All words  ·  {key}").format(key=key) if key else _("All words")


def terms() -> list[Term]:
    """Every word, in the order in which they build on each other."""
    trade = [
        Term("dbfs", _("dBFS"), term_explanation("dbfs")),
        Term(
            "zero_ref",
            _("0 ref"),
            _(
                "0 ref is −18 dBFS here, the level around which the average should swing. It leaves 18 "
                "dB for peaks and surprises, and is far above the noise of any input."
            ),
        ),
        Term("average", _("Average"), term_explanation("average")),
        Term("peak", _("Peak"), term_explanation("peak")),
        Term(
            "peak_hold",
            _("Peak hold"),
            _(
                "The peak hold is the highest peak since you started afresh. On the chart it is the "
                "flag, the swell mark: the place where you played loudest."
            ),
        ),
        Term(
            "true_peak",
            _("True peak (dBTP)"),
            _(
                "Between two samples the wave can rise higher than either of them. The true peak is "
                "that height, reckoned as ITU-R BS.1770 describes. It matters most for finished music."
            ),
        ),
        Term("headroom", _("Headroom"), term_explanation("headroom")),
        Term("crest", _("Crest"), term_explanation("crest")),
        Term(
            "clip",
            _("Clip"),
            _(
                "A clip is a place where the wave went past the largest number there is and was cut off"
                " flat. It sounds harsh and cannot be undone. Every clip of a take is listed with its "
                "place."
            ),
        ),
        Term(
            "flat_top",
            _("Flat tops"),
            _(
                "Waves that are cut off although they stay under 0 dBFS were cut earlier: in a pedal, a"
                " preamp or a pickup with a weak battery. Turning the gain of the interface down does "
                "not help there."
            ),
        ),
        Term("gain", _("Gain"), term_explanation("gain")),
        Term("low_gain", _("Why a low gain does no harm"), term_explanation("low_gain")),
        Term("noise_floor", _("Noise floor"), term_explanation("noise_floor")),
        Term(
            "hum",
            _("Hum"),
            _(
                "Hum is the mains in the sound: 50 or 60 Hz and multiples of it. Look for cables beside"
                " power supplies, for dimmers, and for pickups near a transformer: turning yourself "
                "often helps."
            ),
        ),
        Term(
            "dc_offset",
            _("DC offset"),
            _(
                "With a DC offset the wave swings around a line that is not zero. It takes headroom on "
                "one side and makes cuts click. It comes from the interface, not from how you play."
            ),
        ),
        Term(
            "lufs",
            _("Loudness (LUFS, LU)"),
            _(
                "Loudness is how loud ears find a sound, reckoned as ITU-R BS.1770 describes, in LUFS. "
                "A step of 1 LU is a step of 1 dB. It compares whole pieces; for the gain, average and "
                "peaks decide."
            ),
        ),
        Term(
            "range",
            _("Loudness range"),
            _(
                "How far the loud passages of a piece lie above its quiet ones, in LU, as EBU Tech 3342 "
                "describes. A whispered verse and a shouted refrain make it wide."
            ),
        ),
        Term(
            "part",
            _("Part"),
            _(
                "A part is what one player records: a voice, a bass, a drum kit. How much louder players get "
                "in a take than while they set the gain differs from part to part, and the advice knows that."
            ),
        ),
        Term(
            "take",
            _("Take"),
            _(
                "A take is one time through. From its first second it is written into the log, with "
                "every clip, so that even a crash loses none of it. No sound is recorded, only what was"
                " measured."
            ),
        ),
        Term(
            "backing",
            _("Backing track and stems"),
            _(
                "The backing track is what you play along to; stems are its instruments, each in a file"
                " of its own. Finished music is far louder than a part that is being recorded, so pull "
                "it down."
            ),
        ),
        Term(
            "phantom",
            _("Phantom power"),
            _(
                "48 volts that the interface sends to some microphones. Switch it on only where the "
                "microphone's maker asks for it, and turn monitors and headphones down before you do: "
                "it can thump loudly."
            ),
        ),
    ]
    ours = [
        Term(verdict, verdict_name(verdict), explanation(verdict), own=True)
        for verdict in ("slack", "low_water", "fair_water", "high_water", "awash")
    ] + [
        Term(
            "sea_chart",
            _("Sea chart"),
            _(
                "The last half minute as a sea: the average is the water, peaks stand above it, the "
                "noise floor is the bed. The deck is the ceiling for peaks, the rail is full scale."
            ),
            own=True,
        ),
        Term(
            "deck",
            _("Deck and rail"),
            _(
                "The deck is the ceiling that peaks should stay under, −6 dBFS. The rail is 0 dBFS: "
                "what goes over it is cut off. Between the two lies the room for playing louder than "
                "you meant to."
            ),
            own=True,
        ),
        Term(
            "swell_mark",
            _("Swell mark"),
            _(
                "The flag on the chart. It stands where the highest peak was, and stays until you start"
                " afresh."
            ),
            own=True,
        ),
        Term(
            "forecast",
            _("Forecast"),
            _(
                "From the peaks that were heard, and from how much louder such parts get in a take, "
                "follows how likely a take is to clip at this gain. It is a likelihood, and it says "
                "when it does not know."
            ),
            own=True,
        ),
    ]
    return trade + ours


def term_name(key: str) -> str:
    """A word by its key; the key itself when there is no such word."""
    return next((term.name for term in terms() if term.key == key), key)


# The overlay on the chart


def overlay_title() -> str:
    """On the button, and over the explanation."""
    return _("What is this?")


def overlay_tip() -> str:
    """What that button does."""
    return _("Explains the chart, line by line, on the chart.")


def overlay_lines() -> dict[str, str]:
    """What each thing on the chart is, from the top down."""
    return {
        "rail": _("The rail is full scale, 0 dBFS. What goes over it is cut off: a clip."),
        "deck": _("The deck is the ceiling for peaks. What rises past it is coloured."),
        "flag": _("The flag is the swell mark: the highest peak since you started afresh."),
        "spray": _("The spray above the water: peaks, the highest points of the wave."),
        "band": _("The lighter band: here the average belongs while you play loudly."),
        "water": _("The water is the average: how full the sound is. Its right edge is now."),
        "bed": _("The bed is the noise floor: what is left when nobody plays."),
    }
