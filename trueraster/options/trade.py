"""Words of the trade that a technician types, and what they are called here: one table for all options.

A word either stands for a name that is used here, or it gets one line that says which names there are.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS
from patterns.pattern import COLOURS, Options
from patterns.timing import shown
from trueraster.errors import UsageError

__all__ = ["WORDS", "Kind", "Word", "meant", "options_with", "word_note", "word_options"]


class Kind(StrEnum):
    """Where a word is typed, as a mistake names it."""

    PATTERN = "pattern"
    FORMAT = "format"
    CARRIER = "--as"
    COLOUR = "--colour"
    BARS = "--bars"
    WHITE = "--white"
    LINE_RATES = "--line-rates"


_NONE = Options()


@dataclass(frozen=True, slots=True, kw_only=True)
class Word:
    """What a word of the trade means here."""

    means: str = ""
    """The name that is used here; nothing where the word is refused."""
    options: Options = _NONE
    """What a pattern's word says beside its name."""
    says: str = ""
    """What a user should know: why the word is refused, or what it leaves open."""


def _all(means: str, *words: str, options: Options = _NONE, says: str = "") -> dict[str, Word]:
    return dict.fromkeys(words, Word(means=means, options=options, says=says))


def _refused(says: str, *words: str) -> dict[str, Word]:
    return dict.fromkeys(words, Word(says=says))


def _bars(name: str, *words: str) -> dict[str, Word]:
    return _all("bars", *words, options=Options(bars=name))


_CODED = "the files have component levels; the player, or an encoder after it, makes the colour system"
_LOSSY = "it changes levels, and a changed level proves nothing; the stills here are png, tiff and dpx"
_WHITE_9300 = "some sets mean 9300 K + 27 MPCD by it: for those give 0.281,0.311"

_PATTERN_WORDS = {
    **_all("crosshatch", "grid", "hatch", "cross-hatch", "lines", "linearity", "geometry", "white-grid"),
    **_all("crosshatch-fine", "fine-grid", "fine-hatch"),
    **_all("dots", "dot", "dot-grid", "white-dots", "convergence"),
    **_all("circles", "circle", "aspect"),
    **_all("centre", "center", "cross", "centring", "centering"),
    **_all("overscan", "safe-area", "safe-areas", "underscan"),
    **_all("steps", "greyscale", "grayscale", "grey-scale", "gray-scale", "staircase", "stairstep", "stairs"),
    **_all("steps", "grey-steps", "gray-steps", "greys", "grays"),
    **_all("ramp", "gradient", "sawtooth"),
    **_all("pluge", "black-level", "brightness", "blacks"),
    **_all("window", "white-window", "peak-white", "beam-limit"),
    **_all("bars", "colour-bars", "color-bars", "colourbars", "colorbars", "colour-bar", "color-bar"),
    **_bars("100/0/75/0", "ebu-bars"),
    **_bars("75/0/75/0", "75-bars", "75%-bars"),
    **_bars("100/0/100/0", "100-bars", "100%-bars", "full-bars"),
    **_all("bars-split", "split-bars", "smpte-bars"),
    **_all("field", "flat", "flat-field", "full-field", "raster", "white-field", "white-raster"),
    **{name: Word(means="field", options=Options(colour=name)) for name in COLOURS},
    **_all("field", "gray", options=Options(colour="grey")),
    **_all("field", "purity", options=Options(colour="red"), says="this is red; check green and blue too"),
    **_all("multiburst", "burst", "bursts", "bandwidth", "frequency-response"),
    **_all("pulse-bar", "pulse", "2t", "2t-pulse", "pulse-and-bar"),
    **_all("wedge", "wedges", "resolution"),
    **_all("focus", "characters", "text", "letters"),
    **_all("zone-plate", "zoneplate"),
    **_all("field-order", "fields", "interlace", "field-dominance"),
    **_all("bounce", "high-voltage"),
    **_all("half-field", "streaking", "regulation", "half-screen", "split-field"),
    **_all("checkerboard", "checker", "chequerboard", "chessboard"),
    **_all("alignment", "test-card", "testcard", "all-in-one", "setup"),
    **_all("slate", "leader", "ident"),
}
_FORMAT_WORDS = {
    **_all("480i", "ntsc", "ntsc-m", "ntsc-j", "pal-m", says=_CODED),
    **_all("576i", "pal", "pal-b", "pal-g", "pal-i", "pal-n", "secam", says=_CODED),
    **_all("480i", "525", "525i", "525-60", "480i60", "480i59.94"),
    **_all("576i", "625", "625i", "625-50", "576i50", "576i25"),
    **_all("480p", "480p60", "480p59.94"),
    **_all("576p", "576p50"),
    **_all("240p", "240p60"),
    **_all("288p", "288p50"),
    **_all("1080i50", "1080i25"),
    **_all("1080i60", "1080i30"),
    **_all("640x480@60", "vga"),
    **_all("800x600@60", "svga"),
    **_all("1024x768@60", "xga"),
    **_all("1280x1024@60", "sxga"),
    **_refused("the rate is missing: 720p50, 720p59.94 or 720p60", "720p", "720"),
    **_refused("the rate is missing: 1080i50, 1080i59.94 or 1080i60", "1080i"),
    **_refused("the rate is missing: 1080p24, 1080p25, 1080p50, 1080p59.94 and others", "1080p", "1080", "full-hd"),
    **_refused("which one? 720p59.94, 1080i50, 1080i59.94, 1080p25 and others", "hd", "hdtv"),
    **_refused("which one? 480i and 576i, 240p and 288p scan at 15.6 to 15.7 kHz", "15khz", "15k", "sd", "sdtv"),
    **_refused("which one? 480p, 576p and 640x480@60 scan at 31 kHz", "31khz", "31k", "edtv"),
    **_refused("no picture tube accepts it; for a file write 3840x2160@60", "4k", "uhd"),
}
_CARRIER_WORDS = {
    **_all("h264", "mp4", "h.264", "avc", "x264", "video", "m4v"),
    **_all("mpeg2", "dvd", "mpg", "mpeg", "mpeg-2", "vob", "m2v"),
    **_all("tiff", "tif"),
    **_all("png", "still"),
    **_all("ffv1", "mkv", "lossless"),
    **_all("v210", "uncompressed"),
    **_all("y4m", "yuv", "raw"),
    **_refused(_LOSSY, "jpg", "jpeg", "gif", "webp"),
    **_refused("the stills here are png, tiff and dpx, with the same samples", "bmp", "tga"),
    **_refused("a mov is prores or v210; give one of them", "mov", "quicktime"),
    **_refused("the clips here are h264, mpeg2, prores, v210, ffv1 and y4m", "avi", "wmv", "mxf", "h265", "hevc"),
}
_WHITE_WORDS = {
    **_all("d65", "6500k", "6500", "6504k", "d6500"),
    **_all("d93", "9300k", "9300", "9305k", "d9300", says=_WHITE_9300),
    **_refused("5000 K is 0.3457,0.3585: give it so", "5000k", "5000", "d50", "d5000"),
}
WORDS: Mapping[Kind, Mapping[str, Word]] = {
    Kind.PATTERN: {word: meaning for word, meaning in _PATTERN_WORDS.items() if word not in PATTERNS},
    Kind.FORMAT: _FORMAT_WORDS,
    Kind.CARRIER: _CARRIER_WORDS,
    Kind.COLOUR: _all("grey", "gray"),
    Kind.BARS: {
        **_all("75/0/75/0", "75", "75%"),
        **_all("100/0/100/0", "100", "100%", "full"),
        **_all("100/0/75/0", "ebu"),
    },
    Kind.WHITE: _WHITE_WORDS,
    Kind.LINE_RATES: {
        **_all("15-16.5", "15khz", "15k", "15"),
        **_all("30-33", "31khz", "31k", "31"),
    },
}
"""Every word by where it is typed, in small letters, its parts joined by hyphens."""


def _joined(text: str) -> str:
    # A unit may stand apart from its number: '31 kHz'.
    return re.sub(r"[\s_-]+", "-", re.sub(r"(?<=\d)\s+(?=k(hz)?$)", "", text.strip().lower()))


def _word(kind: Kind, text: str) -> Word | None:
    return WORDS[kind].get(_joined(text))


def meant(kind: Kind, text: str) -> str:
    """The name that is used here for what was typed; what is no word of the trade stays as it is.

    Raises:
        UsageError: the word is known and there is nothing of the kind here; the line says what there is.
    """
    word, joined = _word(kind, text), _joined(text)
    if word is None and kind is Kind.PATTERN:
        if joined in FORMATS or joined in WORDS[Kind.FORMAT]:
            raise UsageError(f"{shown(text)} is a format and no pattern; give it with --format")
        return joined if joined in PATTERNS else text
    if word is None:
        return text
    if not word.means:
        raise UsageError(f"{kind}{'' if kind == Kind.FORMAT else ':'} {shown(text)}: {word.says}")
    return word.means


def word_options(text: str) -> Options:
    """What a pattern's word says beside its name: of 'white' the colour."""
    word = _word(Kind.PATTERN, text)
    return _NONE if word is None else word.options


def options_with(text: str, options: Options) -> Options:
    """The options of a pattern that was asked for by `text`, with what that word says.

    Raises:
        UsageError: word and options say different things.
    """
    said = word_options(text).given
    for name, value in said.items():
        typed = options.given.get(name, value)
        if typed != value:
            raise UsageError(f"--{name}: got {typed}, and {shown(text)} is {value} already; leave one of them out")
    return replace(options, **said)


def word_note(kind: Kind, text: str) -> str:
    """What a user should know of a word that was understood, or nothing."""
    word = _word(kind, text)
    return f"{shown(text)} is {word.means} here; {word.says}" if word and word.means and word.says else ""
