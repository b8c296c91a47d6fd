"""`scope` as a command: what it tells, what it writes, what it refuses."""

from __future__ import annotations

import base64
import re
import struct
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from patterns.formats import FORMATS
from render.carriers import CARRIERS
from tests.command import call
from tests.trials.scope import drawn, told
from trueraster.kit.plan import plan_kit
from trueraster.kit.sheet import cue_sheet
from trueraster.kit.wave import WITH_WAVE


def test_a_line_is_told_as_a_table() -> None:
    """The text is a table of the line's parts with times, millivolts and percent."""
    code, out, err = call("scope", "steps", "--format", "576i", "--line", "100")
    assert (code, err) == (0, "")
    assert out.startswith("steps in 576i, line 100 of 625 (field 1): Y'P'BP'R\n")
    # 50 % of 700 mV.
    assert re.search(r"picture, 50 +[\d.]+ +[\d.]+ +[\d.]+ +350\.0 +50\.0\n", out)
    assert re.search(r"sync +0\.000 +4\.667 +4\.667 +-300\.0\n", out)


def test_the_line_in_the_middle_is_taken_when_none_is_asked_for() -> None:
    """Without --line the line in the middle of the picture is shown."""
    answer = told("bars", "--format", "1080p50")
    assert (answer["line"], answer["row"], answer["field"]) == (582, 540, 1)


def test_json_has_its_keys_and_times_of_the_standard() -> None:
    """The JSON has its keys, and the standard's times and levels."""
    answer = told("bars", "--format", "576i")
    assert {
        "pattern",
        "format",
        "line",
        "field",
        "view",
        "row",
        "signal",
        "levels_mv",
        "times_us",
        "measured_us",
    } <= set(answer)
    # BT.601: 12, 63, 69 and 720 samples of 13.5 MHz.
    times = answer["times_us"]
    assert [times[key] for key in ("front_porch", "sync", "back_porch", "active", "line")] == [
        pytest.approx(samples / 13.5, abs=1e-5) for samples in (12, 63, 69, 720, 864)
    ]
    assert answer["measured_us"]["sync"] == pytest.approx(63 / 13.5, abs=0.01)
    assert answer["measured_us"]["line"] == pytest.approx(64, abs=0.01)
    assert answer["levels_mv"] == {
        "white": 700, "black": 0, "blanking": 0, "sync": -300, "sync_upper": None, "difference_peak": 350
    }  # fmt: skip


def test_a_blank_line_is_told_as_such() -> None:
    """A line of the vertical blanking has no picture part, and a note says so."""
    answer = told("bars", "--format", "480i", "--line", "15", "--component", "y")
    assert answer["row"] is None
    assert [part["part"] for part in answer["traces"][0]["parts"]] == ["sync", "blanking"]
    assert "line 15 is in the vertical blanking and has no picture" in answer["notes"]


@pytest.mark.parametrize(
    ("field", "first", "begins"), [("1", 1, "line"), ("2", 313, "mid-line")], ids=["first", "second"]
)
def test_a_field_tells_its_vertical_sync(field: str, first: int, begins: str) -> None:
    """625 lines: 2.5 lines from line 1 and from the middle of 313 (BT.1700, from memory)."""
    answer = told("steps", "--format", "576i", "--field", field, "--component", "y")
    vertical = answer["vertical"][0]
    assert (vertical["first_line"], vertical["begins"], vertical["lines"]) == (first, begins, 2.5)
    assert vertical["field_us"] == 20000
    code, out, _ = call("scope", "steps", "--format", "576i", "--field", field, "--component", "y")
    assert code == 0
    assert "5 before, 5 after" in out


def test_sync_rides_where_it_is_asked_to() -> None:
    """Sync is on green by default, and on all guns or separate where asked."""

    def on(*words: str) -> list[str]:
        return list(told("steps", "--format", "480i", "--signal", "rgb", *words)["sync"]["on"])

    assert on() == ["g"]
    assert on("--sync", "all") == ["r", "g", "b"]
    assert on("--sync", "separate") == ["sync"]


def test_714_mv_component_has_setup_on_luma_only() -> None:
    """SMPTE 170M's black of 7.5 IRE is 53.57 mV; colour difference stays on 0."""
    answer = told("steps", "--format", "480i", "--levels", "714", "--setup", "7.5")
    black = {trace["key"]: next(p for p in trace["parts"] if p["part"] == "picture") for trace in answer["traces"]}
    assert [black[key]["mv"] for key in ("y", "pb", "pr")] == [pytest.approx(v, abs=0.05) for v in (7.5 / 0.14, 0, 0)]
    assert black["y"]["ire"] == pytest.approx(7.5, abs=0.01)


def test_older_components_have_wider_colour_difference() -> None:
    """525-line components of 714 mV with setup: 75 % bars peak at 350 mV, so 100 % at 467 (from memory)."""
    answer = told("bars", "--format", "480i", "--levels", "714", "--setup", "7.5")
    assert answer["levels_mv"]["difference_peak"] == pytest.approx(350 / 0.75, abs=0.001)
    for trace in answer["traces"][1:]:
        levels = [part["mv"] for part in trace["parts"]]
        assert max(map(abs, levels)) == pytest.approx(350, abs=0.05)
        # Per cent of the excursion are the same as ever: 75 % of 50.
        assert max(abs(part["percent"]) for part in trace["parts"] if part["percent"] is not None) == pytest.approx(
            37.5, abs=0.01
        )
    code, out, _ = call("scope", "bars", "--levels", "714", "--setup", "7.5")
    assert code == 0
    assert "colour difference ±466.7 mV" in " ".join(out.split())


def test_tri_level_sync_is_told_with_both_signs() -> None:
    """HD formats are described with tri-level sync, SD formats with bi-level sync."""
    out = " ".join(call("scope", "bars", "--format", "720p60")[1].split())
    assert "tri-level sync of ±300 mV on Y'" in out
    assert "bi-level sync of -300 mV on Y'" in call("scope", "bars", "--format", "576i")[1]


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        # 16-bit R'G'B' and free rasters have hard edges: a step of samples rings by up to 14 % of it.
        (["bars", "--format", "320x240p@60"], "rings in the reconstruction filter"),
        (["bars", "--format", "480i", "--edges", "hard"], "rings in the reconstruction filter"),
        (["bars", "--format", "480i"], None),
        (["bars", "--format", "480i", "--signal", "rgb"], None),
        (["dots", "--format", "320x240p@60"], "rings in the reconstruction filter"),
        (["multiburst", "--format", "480i"], None),
    ],
)
def test_rings_are_explained_where_they_show(words: list[str], reason: str | None) -> None:
    """A note explains ringing where hard edges cause it, and only there."""
    told_so = [note for note in told(*words)["notes"] if "mV beyond its" in note]
    assert len(told_so) == (reason is not None)
    assert all(str(reason) in note for note in told_so)


def test_guns_made_from_slower_colour_difference_are_explained(tmp_path: Path) -> None:
    """R'G'B' from a 4:2:2 file has a note on its slower colour difference."""
    path = drawn(tmp_path / "bars.mov", "bars", "480i", "--as", "v210", "--seconds", "0.05")
    notes = " ".join(told(str(path), "--signal", "rgb")["notes"])
    assert "made from luma and the file's slower colour difference" in notes


def test_colour_of_a_free_raster_meets_its_luma() -> None:
    """A computer's picture has a colour for each sample: bars end where they do in luma (by hand: 32 samples each)."""
    answer = told("bars", "--format", "256x240p@60")
    assert answer["samples"]["sampling"] == "444"
    start, clock = answer["times_us"]["active_start"], answer["pixel_clock_hz"] / 1e6
    for trace in answer["traces"]:
        stops = [part["stop_us"] for part in trace["parts"] if part["part"] == "picture"]
        assert stops == [pytest.approx(start + 32 * (i + 1) / clock, abs=0.01) for i in range(8)]


# --- Files -----------------------------------------------------------------------------------------------


def test_plots_and_points_are_written_whole(tmp_path: Path) -> None:
    """SVG, PNG and CSV are written complete, and nothing else is left."""
    paths = [tmp_path / name for name in ("a.svg", "a.png", "a.csv")]
    words = [word for path in paths for word in ("--to", str(path))]
    code, out, err = call("scope", "bars", "--format", "576i", *words)
    assert (code, err) == (0, "")
    assert all(str(path) in out for path in paths)
    assert ElementTree.fromstring(paths[0].read_bytes()).tag.endswith("svg")
    assert b"bars in 576i, line 167" in paths[0].read_bytes()
    # PNG: width and height follow the signature and the first chunk's head.
    width, _ = struct.unpack(">II", paths[1].read_bytes()[16:24])
    assert width == 1200
    lines = paths[2].read_text(encoding="ascii").splitlines()
    assert lines[0] == "us,y_mv,pb_mv,pr_mv"
    assert len({line.count(",") for line in lines}) == 1
    assert len(list(tmp_path.iterdir())) == len(paths)


@pytest.mark.parametrize(
    ("pattern", "line", "marks"),
    [
        # BT.1700, from memory: broad pulses of 27.3 us, equalising ones of 2.35 us. BT.601: 63 samples of sync, 69 and
        # 12 of porches, at 13.5 MHz; half a line of 32 us less those 144 samples is picture.
        ("bars", 1, ["pulse 27.300", "pulse 27.300"]),
        ("field", 623, ["sync 4.667", "pulse 2.350", "picture 21.333"]),
    ],
)
def test_a_plot_names_the_pulses_of_a_blank_or_half_line(
    pattern: str, line: int, marks: list[str], tmp_path: Path
) -> None:
    """Above the trace are the line's pulses and its half picture, with their durations in microseconds."""
    path = tmp_path / "line.svg"
    words = ["--format", "576i", "--line", str(line), "--component", "y", "--to", str(path)]
    assert call("scope", pattern, *words)[0] == 0
    assert re.findall(r"([a-z]+ [\d.]+) µs", path.read_text(encoding="utf-8")) == marks


@pytest.mark.parametrize("name", ["480i", pytest.param("1080i50", marks=pytest.mark.slow)])
def test_a_field_is_drawn(name: str, tmp_path: Path) -> None:
    """A whole field is drawn as a plot of moderate size."""
    path = tmp_path / "field.svg"
    code, _, err = call("scope", "steps", "--format", name, "--field", "1", "--component", "y", "--to", str(path))
    assert code == 0, err
    assert path.stat().st_size < 400_000


def test_a_file_is_shown_with_its_own_samples(tmp_path: Path) -> None:
    """A file is shown by its own samples and format, and a different --format is refused."""
    path = drawn(tmp_path / "steps.mp4", "steps", "576i", "--as", "h264", "--seconds", "0.2")
    answer = told(str(path), "--component", "y")
    assert (answer["pattern"], answer["file"], answer["format"]) == (None, str(path), "576i")
    assert any("8 bits" in words for words in answer["notes"])
    code, _, err = call("scope", str(path), "--format", "1080i50")
    assert code == 2
    assert "its frame is 720x576" in err


def test_what_cannot_be_written_leaves_nothing(tmp_path: Path) -> None:
    """A target that cannot be written is one line, and leaves no file."""
    (tmp_path / "there").write_text("a file", encoding="utf-8")
    code, out, err = call("scope", "bars", "--to", str(tmp_path / "there" / "x.svg"))
    assert (code, out) == (2, "")
    assert len(err.splitlines()) == 1
    assert [path.name for path in tmp_path.iterdir()] == ["there"]


@pytest.mark.parametrize("line", ["5", "21", "142"])
def test_a_blank_line_is_not_marked_with_a_picture(line: str, tmp_path: Path) -> None:
    """525 lines: broad pulses in line 5, sync alone in 21, a picture in 142 (SMPTE 170M, CTA-861)."""
    path = tmp_path / "line.svg"
    code, _, err = call("scope", "bars", "--format", "480i", "--line", line, "--to", str(path))
    assert code == 0, err
    words = set(re.findall(r"(?:sync|pulse|back porch|active line|front porch) [\d.]+ µs", path.read_text("utf-8")))
    if line == "142":
        assert words == {"sync 4.593 µs", "back porch 4.444 µs", "active line 53.333 µs", "front porch 1.185 µs"}
    else:
        assert words == {"pulse 27.078 µs" if line == "5" else "sync 4.593 µs"}


@pytest.mark.parametrize(
    "words", [["--component", "pb"], ["--signal", "rgb", "--sync", "separate", "--component", "r"]]
)
def test_a_field_without_sync_on_its_trace_is_drawn(words: list[str], tmp_path: Path) -> None:
    """A trace without sync is drawn without the mark of vertical sync."""
    path = tmp_path / "field.svg"
    code, _, err = call("scope", "bars", "--field", "1", *words, "--to", str(path))
    assert (code, err) == (0, "")
    assert b"vertical sync" not in path.read_bytes()


@pytest.mark.parametrize("words", [["--line", "100"], ["--field", "1", "--component", "y"]])
def test_no_minus_stands_before_zero(words: list[str], tmp_path: Path) -> None:
    """No printed, JSON or CSV figure is minus zero."""
    # On a machine where no test ran before, the temporary folder of pytest has a name with "-0" in it; always here.
    path = tmp_path / "first-0" / "points.csv"
    path.parent.mkdir()
    code, out, err = call("scope", "bars", "--format", "320x240i@60", *words, "--to", str(path), "--json")
    assert code == 0, err
    assert str(path) in out
    printed = call("scope", "bars", "--format", "320x240i@60", *words)[1]
    for text in (out.replace(str(path), ""), path.read_text("ascii"), printed):
        assert re.findall(r"-0(?:\.0*)?(?![\d.])", text) == []


def test_a_large_file_is_told_with_its_size(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A large output file is reported with its size."""
    monkeypatch.setattr("trueraster.scope.files._LARGE", 200_000)
    path = tmp_path / "line.csv"
    out = call("scope", "bars", "--format", "576i", "--to", str(path))[1]
    assert f"{path} ({path.stat().st_size / 1e6:.0f} MB)" in out


# --- Refusals --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "told_so"),
    [
        (["bars", "--line", "0"], "480i has lines 1 to 525"),
        (["bars", "--line", "526"], "480i has lines 1 to 525"),
        (["bars", "--field", "3"], "use 1, 2 or frame"),
        (["bars", "--format", "720p50", "--field", "1"], "has no fields; ask for the frame"),
        (["bars", "--line", "30", "--field", "1"], "give one of them"),
        (["bars", "--signal", "vga"], "ypbpr, rgb, composite"),
        (["bars", "--signal", "composite", "--format", "720p50"], "has no composite signal"),
        (["bars", "--setup", "7.5"], "add --levels 714"),
        (["bars", "--setup", "5"], "use 0 or 7.5"),
        (["bars", "--levels", "714", "--format", "576i"], "576i has 700"),
        (["bars", "--levels", "714", "--setup", "7.5", "--format", "480p"], "480p has 700"),
        (["bars", "--levels", "714"], "components of 714 mV have setup; add --setup 7.5"),
        (["bars", "--signal", "composite", "--format", "480p"], "480p has no composite signal (480i, 576i, 240p"),
        (["bars", "--signal", "composite", "--format", "320x240p@60"], "has no composite signal"),
        (["bars", "--format", "1080p50", "--line", "1126"], "1080p50 has lines 1 to 1125"),
        (["bars", "--component", "r"], "y, pb, pr"),
        (["bars", "--sync", "green"], "--signal rgb"),
        (["bars", "--to", "x.pdf"], ".svg, .png or .csv"),
        (["bars", "--to", "x.svg", "--to", "./x.svg"], "named twice"),
        (["bars", "--frame", "-1"], "--frame"),
        (["barz"], "did you mean bars?"),
        (["missing.png"], "No such file"),
        (["  "], "a pattern's name or a file"),
        (["bars", "--level", "50"], "has no such option"),
    ],
)
def test_what_cannot_be_meant_is_told_in_one_line(words: list[str], told_so: str) -> None:
    """Options that contradict each other or the format are one line that says what is allowed."""
    code, out, err = call("scope", *words)
    assert (code, out) == (2, "")
    assert told_so in err
    assert len(err.splitlines()) == 1


_WORDS = st.sampled_from(
    ["--line", "--field", "--signal", "--setup", "--component", "--levels", "--sync", "--range", "--matrix", "--frame"]
)
_VALUES = st.sampled_from(
    ["0", "1", "2", "22", "frame", "rgb", "composite", "7.5", "y", "g", "714", "all", "full", "-1", "€"]
)


@given(st.lists(st.tuples(_WORDS, _VALUES), max_size=4), st.sampled_from(["480i", "576p", "720p50", "640x240@60"]))
@settings(max_examples=12)
def test_any_options_end_in_an_answer_or_in_one_line(pairs: list[tuple[str, str]], name: str) -> None:
    """Any options give JSON or one line, and never a traceback."""
    words = [word for pair in pairs for word in pair]
    code, out, err = call("scope", "steps", "--format", name, *words, "--json")
    assert code in (0, 2)
    if code == 2:
        assert out == ""
        assert len(err.splitlines()) == 1


# --- The cue sheet ---------------------------------------------------------------------------------------


def test_the_cue_sheet_has_small_waveforms() -> None:
    """The cue sheet has one small, valid waveform for each pattern that wants one."""
    items = [
        item
        for item in plan_kit([FORMATS["480i"]], CARRIERS["h264"]).items
        if item.order.pattern.id in (*WITH_WAVE, "dots")
    ]
    page = cue_sheet("Harbour Lane Repairs", items, "trueraster")
    drawings = re.findall(r"<svg.*?</svg>", page, flags=re.DOTALL)
    assert len(drawings) == len(WITH_WAVE)
    for drawing in drawings:
        ElementTree.fromstring(drawing)
        assert len(drawing) < 12_000
        assert "line 142" in drawing
    # Pictures are the only other thing: no file and no network is needed.
    assert all(base64.b64decode(found) for found in re.findall(r"data:image/png;base64,([^\"]+)", page))


def test_a_raster_without_a_scan_has_no_waveform_on_the_sheet() -> None:
    """A raster without a timing has no waveform on the cue sheet."""
    from patterns.formats import parse_format

    items = plan_kit([parse_format("640x480@60")], CARRIERS["png"]).items
    page = cue_sheet("Harbour Lane Repairs", [i for i in items if i.order.pattern.id in WITH_WAVE], "trueraster")
    assert "<svg" not in page
