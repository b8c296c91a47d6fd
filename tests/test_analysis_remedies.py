"""The words of the faults: all there, fit for a report, and with places only for what is measured."""

from __future__ import annotations

import string

import pytest

from analysis.frame.faults.remedies import fault_words

# The list of the design document, section 8.
IDS = [
    *("range-expanded", "range-compressed", "footroom-clipped", "headroom-clipped", "setup-added", "setup-removed"),
    *("gain", "offset", "gamma", "colour-managed", "matrix-601-as-709", "matrix-709-as-601", "components-swapped"),
    *("channels-swapped", "chroma-gain", "hue-rotated", "channel-gain", "bits-lost", "fields-swapped", "deinterlaced"),
    *("scaled", "shifted", "cropped", "chroma-softened", "sharpened", "softened"),
    *("chroma-lost", "component-missing", "component-inverted", "black-crushed", "white-compressed"),
    *("range-converted-twice", "band-limited", "comb-decoded", "cross-colour", "chroma-delayed", "echo", "noise"),
    *("dithered", "hum", "tilt", "shading", "dropouts", "overlay", "torn", "other", "wrong-pattern", "no-pattern"),
]
PLACES = {
    *(
        "gain",
        "offset_percent",
        "power",
        "degrees",
        "channel",
        "order",
        "transfer",
        "primaries",
        "bits",
        "kept",
        "sides",
        "scale_x",
        "scale_y",
    ),
    *("offset_x", "offset_y", "response", "pattern", "looks_like"),
    *("component", "below_percent", "knee_percent", "slope", "way", "cutoff_mhz", "cutoff_tv_lines", "carrier_mhz"),
    *("percent", "delay_ns", "delay_us", "snr_db", "of", "swing_percent", "periods", "count", "area_percent", "line"),
}


def test_every_fault_has_its_words() -> None:
    """Each fault has its words, and no two share a title."""
    assert list(fault_words()) == IDS
    assert len({words.title for words in fault_words().values()}) == len(IDS)


@pytest.mark.parametrize("name", IDS)
def test_words_are_whole_sentences(name: str) -> None:
    """One line each; places only in what is seen, and only those that are known."""
    words = fault_words()[name]
    assert words.id == name
    for text in (words.seen, words.cause, words.remedy):
        assert text == " ".join(text.split())
        assert text[0].isupper()
        assert text.endswith(".")
    assert {place for _, place, _, _ in string.Formatter().parse(words.seen) if place is not None} <= PLACES
    assert "{" not in words.title + words.cause + words.remedy
    # It stands in a table's cell too.
    assert "|" not in words.seen + words.cause + words.remedy
