"""Words of the trade, typed as a new user types them: each gives the right thing, or the line that names it here.

The expected meanings are common practice, no source, but for the ones that say theirs.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import pytest

from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS, parse_format
from patterns.pattern import COLOURS, Options
from render.carriers import CARRIERS
from tests.command import call
from tests.matrix import quick_and_slow
from trueraster.kit.rates import check_line_rates, parse_line_rates
from trueraster.options.trade import WORDS, Kind, options_with, word_options
from trueraster.options.values import UsageError, carrier_of, format_of, pattern_of
from trueraster.timing.set_range import check_set, set_range

DRAWN = {
    "grid": ("crosshatch", {}),
    "white": ("field", {"colour": "white"}),
    "black": ("field", {"colour": "black"}),
    "red": ("field", {"colour": "red"}),
    "purity": ("field", {"colour": "red"}),
    "Gray": ("field", {"colour": "grey"}),
    "greyscale": ("steps", {}),
    "Grayscale": ("steps", {}),
    "grey scale": ("steps", {}),
    "colour bars": ("bars", {}),
    "color_bars": ("bars", {}),
    "75% bars": ("bars", {"bars": "75/0/75/0"}),
    "staircase": ("steps", {}),
    "black level": ("pluge", {}),
    "peak white": ("window", {}),
    "resolution": ("wedge", {}),
    "bandwidth": ("multiburst", {}),
    "2T": ("pulse-bar", {}),
    "centering": ("centre", {}),
    "safe area": ("overscan", {}),
    "white dots": ("dots", {}),
    "interlace": ("field-order", {}),
    "streaking": ("half-field", {}),
    "chessboard": ("checkerboard", {}),
    "test card": ("alignment", {}),
    "Zone Plate": ("zone-plate", {}),
}
FORMAT_WORDS = {
    "NTSC": "480i",
    "PAL": "576i",
    "SECAM": "576i",
    # 525 lines, whatever its colour system: Recommendation ITU-R BT.1700.
    "PAL-M": "480i",
    "625": "576i",
    # EBU writes the frame rate: 1080i/25.
    "1080i25": "1080i50",
    "576i50": "576i",
    "VGA": "640x480p@60",
    "xga": "1024x768p@60",
}
CARRIER_WORDS = {
    "mp4": "h264",
    "MP4": "h264",
    "dvd": "mpeg2",
    "tif": "tiff",
    "PNG": "png",
    "mkv": "ffv1",
    "avc": "h264",
}
REFUSED = [
    (("draw", "bars", "--as", "jpg"), ("--as", "png")),
    (("draw", "bars", "PAL"), ("PAL", "--format")),
    (("draw", "480i"), ("480i", "--format")),
    (("draw", "bars", "--as", "mov"), ("--as", "prores", "v210")),
    (("draw", "bars", "--as", "avi"), ("--as", "v210")),
    (("draw", "bars", "--format", "720p"), ("720p59.94",)),
    (("draw", "bars", "--format", "1080i"), ("1080i50",)),
    (("draw", "bars", "--format", "15kHz"), ("480i", "576i")),
    (("draw", "bars", "--format", "31kHz"), ("480p",)),
    (("kit", "--format", "hd"), ("1080i50",)),
    (("timing", "4k"), ("3840x2160",)),
    (("measure", "grey", "none.csv", "--white", "5000K"), ("--white", "0.3457,0.3585")),
]


def test_there_are_enough_words() -> None:
    """At least 30 words are understood or answered, and no word hides a name of our own."""
    assert sum(map(len, WORDS.values())) >= 30
    assert not WORDS[Kind.PATTERN].keys() & PATTERNS.keys()
    assert not WORDS[Kind.FORMAT].keys() & FORMATS.keys()
    assert not WORDS[Kind.CARRIER].keys() & CARRIERS.keys()


def test_every_word_leads_somewhere() -> None:
    """A pattern's word to a pattern that takes its options, a format's to a format, a refused one to a line."""
    for kind, words in WORDS.items():
        for text, word in words.items():
            assert text == text.lower()
            assert word.means or word.says, text
            if kind is Kind.PATTERN:
                assert pattern_of(text).scene(FORMATS["480i"], word.options)
            if kind is Kind.FORMAT and word.means:
                assert format_of(text, None) == parse_format(word.means)
            if kind is Kind.CARRIER and word.means:
                assert carrier_of(text, tuple(CARRIERS)) in CARRIERS


@pytest.mark.parametrize("text", DRAWN)
def test_words_for_patterns(text: str) -> None:
    """Each is the pattern with the options that the word says."""
    pattern, given = DRAWN[text]
    assert (pattern_of(text).id, word_options(text).given) == (pattern, given)


@pytest.mark.parametrize("text", FORMAT_WORDS)
def test_words_for_formats(text: str) -> None:
    """Each is the format of that name."""
    assert format_of(text, None).id == FORMAT_WORDS[text]


@pytest.mark.parametrize("text", CARRIER_WORDS)
def test_words_for_files(text: str) -> None:
    """Each is the kind of file of that name."""
    assert carrier_of(text, tuple(CARRIERS)) == CARRIER_WORDS[text]


@pytest.mark.parametrize(("line", "words"), REFUSED)
def test_words_that_are_called_otherwise(line: tuple[str, ...], words: tuple[str, ...], tmp_path: Path) -> None:
    """What there is not gets one line that names what there is, and nothing is written."""
    more = ("--to", str(tmp_path / "out")) if line[0] in ("draw", "kit") else ()
    code, out, err = call(*line, *more)
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert all(word in err for word in words), err
    assert not list(tmp_path.iterdir())


def test_words_are_drawn(tmp_path: Path) -> None:
    """`draw grid white black --format NTSC --as MP4` makes those files, and says what NTSC leaves open."""
    code, out, err = call(
        *("draw", "grid", "white", "black", "--format", "NTSC", "--as", "MP4", "--seconds", "0.1"),
        *("--to", str(tmp_path), "--json"),
    )
    assert code == 0, err
    names = [Path(file["path"]).name for file in json.loads(out)["files"]]
    assert names == [
        "crosshatch_480i_narrow.mp4",
        "field-white_480i_narrow.mp4",
        "field-black_480i_narrow.mp4",
    ]
    assert "Note: 'NTSC' is 480i here; the files have component levels" in err


def test_a_word_and_an_option_that_differ_are_refused() -> None:
    """`draw red --colour blue` may be meant either way; `red --colour red` may not."""
    with pytest.raises(UsageError, match=r"--colour: got blue, and 'red' is red already"):
        options_with("red", Options(colour="blue"))
    assert options_with("red", Options(colour="red", level=Fraction(1, 2))).given == {
        "colour": "red",
        "level": Fraction(1, 2),
    }


@pytest.mark.parametrize("name", quick_and_slow(["white"], [name for name in COLOURS if name != "white"]))
def test_verify_and_scope_take_the_words(name: str, tmp_path: Path) -> None:
    """A field of a colour's name is verified and shown by that name, and no other colour passes for it."""
    path = tmp_path / "still.png"
    assert call("draw", name, "--as", "png", "--to", str(path))[0] == 0
    code, out, err = call("verify", str(path), "--pattern", name, "--json")
    assert (code, json.loads(out)["verdict"]) == (0, "pass"), err
    code, out, err = call("scope", name, "--json")
    assert code == 0, err


@pytest.mark.parametrize(("text", "white"), [("9300K", "d93"), ("6500K", "d65"), ("D93", "d93"), ("9300 K", "d93")])
def test_words_for_whites(text: str, white: str, tmp_path: Path) -> None:
    """Each is the white of that name; of 9300 K it is said that another white goes by it too (STANDARDS, section 6)."""
    path = tmp_path / "greys.csv"
    path.write_text(
        "field,level_percent,x,y,luminance\n"
        + "".join(f"grey,{p},0.3127,0.329,{100 * (p / 100) ** 2.4 + 0.02}\n" for p in range(0, 101, 10)),
        encoding="utf-8",
    )
    code, out, err = call("measure", "grey", str(path), "--white", text, "--json")
    assert code == 0, err
    _, plain, _ = call("measure", "grey", str(path), "--white", white, "--json")
    assert json.loads(out)["target"] == json.loads(plain)["target"]
    assert ("0.281,0.311" in err) is text.startswith("9300")


# Each class of set with the formats that it takes: their line rates are those of CTA-861 and BT.709.
CLASSES = {
    "15kHz": {"240p", "288p", "480i", "576i"},
    "15k": {"240p", "288p", "480i", "576i"},
    "31 kHz": {"480p", "576p"},
    "15kHz,31kHz": {"240p", "288p", "480i", "576i", "480p", "576p"},
}


def _is_refused(check: Callable[..., None], *what: object) -> bool:
    try:
        check(*what)
    except UsageError:
        return True
    return False


@pytest.mark.parametrize("text", CLASSES)
def test_classes_of_set(text: str) -> None:
    """'15kHz' is a set of that class, which takes 15.625 as well as 15.734 kHz, not a rate within 1 %."""
    for name, fmt in FORMATS.items():
        for refused in (
            _is_refused(check_line_rates, [fmt], parse_line_rates(text)),
            _is_refused(check_set, fmt, set_range(text, None)),
        ):
            assert refused is (name not in CLASSES[text]), name


def test_a_comma_that_may_be_decimal_is_never_guessed() -> None:
    """'15,73' is not the 15 kHz class and 73 kHz: a set could be damaged by it."""
    for text in ("15,73", "15,31", "31,47"):
        with pytest.raises(UsageError, match="decimal"):
            parse_line_rates(text)


@pytest.mark.parametrize(
    ("rates", "fields"), [("15.6-15.734", None), ("15.734-16", None), (None, "50-59.94"), (None, "59.94-61")]
)
def test_a_refusal_never_contradicts_itself(rates: str | None, fields: str | None) -> None:
    """480i has 15.734266 kHz and 59.940060 Hz: what is told as 15.734 does not lie outside a range that ends there."""
    code, _, err = call(
        "timing",
        "480i",
        *(("--line-rate", rates) if rates else ()),
        *(("--field-rate", fields) if fields else ()),
    )
    assert code == 0, err
    check_line_rates([FORMATS["480i"]], parse_line_rates(rates or "15.734"))
