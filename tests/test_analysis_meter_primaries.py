"""`measure colour`: simulated tubes whose primaries, white and losses are known."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest

from analysis.drawing.plots import plot_bytes
from analysis.meter.looks import LOOKS
from analysis.meter.primaries.answer import advise_colour, colour_answer, colour_finding
from analysis.meter.primaries.fields import PARTS
from analysis.meter.primaries.measure import Colour, measure_colour
from analysis.meter.primaries.plots import colour_plots
from analysis.meter.readings.types import Field, Meter, Reading, Readings
from analysis.meter.whites import D65, D93, PRIMARY_SETS, PrimarySet, White
from render.errors import FileError
from trueraster.cli import run
from trueraster.output.json import answer_json

SMPTE_C, EBU, BT709 = PRIMARY_SETS


def tube(
    standard: PrimarySet = SMPTE_C,
    white: tuple[float, float] = D65.xy,
    *,
    level: float = 100,
    black: float = 0.0,
    held: float = 1.0,
    moved: Mapping[Field, tuple[float, float]] | None = None,
    left_out: tuple[Field, ...] = (),
    read_black: bool = True,
) -> Readings:
    """SIMULATION: the readings of a tube of 100 cd/m2 with these primaries, by solving for its white by hand."""
    guns = np.array([(x / y, 1, (1 - x - y) / y) for x, y in standard.xy]).T
    x, y = white
    light = guns * np.linalg.solve(guns, [x / y, 1, (1 - x - y) / y]) * 100
    dark = light.sum(axis=1) * black / 100
    shown = [(field, level, light @ parts * (held if field is Field.GREY else 1)) for field, parts in PARTS.items()]
    shown = [item for item in shown if item[0] not in left_out]
    shown += [(Field.GREY, 0.0, np.zeros(3))] if read_black else []
    items = []
    for row, (field, percent, xyz) in enumerate(shown, 2):
        seen = xyz + dark
        if moved and field in moved and percent > 0:
            x, y = moved[field]
            seen = np.array([x / y, 1, (1 - x - y) / y]) * seen[1]
        a, b, c = map(float, seen)
        items.append(Reading(field=field, level_percent=percent, xyz=(a, b, c), row=row))
    return Readings(path=Path("readings.csv"), items=tuple(items))


@pytest.mark.parametrize("standard", PRIMARY_SETS, ids=lambda known: known.name)
@pytest.mark.parametrize("white", [D65, D93], ids=lambda white: white.name)
@pytest.mark.parametrize("level", [75.0, 100.0])
def test_a_right_tube_is_right(standard: PrimarySet, white: White, level: float) -> None:
    """All errors are nothing, all of the standard is covered, and nothing is advised."""
    found = measure_colour(tube(standard, white.xy, level=level), standard, white)
    for name, value in found.figures.items():
        assert value is not None
        key = name.split(".")[-1]
        if key in ("dx", "dy", "du", "dv", "delta_uv", "luminance_error_percent", "delta_e_2000"):
            assert value == pytest.approx(0, abs=1e-6), name
        if key in ("area_uv_percent", "coverage_uv_percent", "area_xy_percent", "coverage_xy_percent"):
            assert value == pytest.approx(100, abs=1e-6), name
    assert found.reasons == {}
    assert found.remarks == ()
    assert found.nearest == standard
    assert advise_colour(found) == []
    # Each share of light is that of the primaries' matrix, and they make white together.
    shares = [found.figures[f"{gun}.share_percent"] for gun in ("red", "green", "blue")]
    assert sum(share for share in shares if share) == pytest.approx(100)


def test_one_standard_against_another() -> None:
    """An EBU tube against BT.709: the greens are 0.01 apart in x (their documents), all else is alike."""
    found = measure_colour(tube(EBU), BT709, D65)
    assert found.figures["green.dx"] == pytest.approx(-0.01)
    assert found.figures["green.dy"] == pytest.approx(0)
    assert found.figures["red.delta_uv"] == pytest.approx(0, abs=1e-9)
    # u' by 4x / (-2x + 12y + 3).
    wanted = 4 * 0.29 / (-0.58 + 7.2 + 3) - 4 * 0.30 / (-0.60 + 7.2 + 3)
    assert found.figures["green.du"] == pytest.approx(wanted)
    # The line from EBU's green to red cuts that from blue to BT.709's green at 84/85 of it.
    assert found.figures["gamut.coverage_xy_percent"] == pytest.approx(100 * 84 / 85)
    area = found.figures["gamut.area_xy_percent"]
    assert area == pytest.approx(100 * _area(EBU) / _area(BT709))
    # A third of the greens' distance is too little to say so.
    assert found.nearest == EBU
    assert advise_colour(found) == []
    other = measure_colour(tube(EBU), SMPTE_C, D65)
    (hint,) = advise_colour(other)
    assert hint.adjust == "the standard"
    assert "'--primaries ebu-3213'" in hint.why


def _area(known: PrimarySet) -> float:
    (ax, ay), (bx, by), (cx, cy) = known.xy
    return abs((bx - ax) * (cy - ay) - (cx - ax) * (by - ay)) / 2


def test_light_of_black_is_taken_away() -> None:
    """Black of 2 % leaves shares and sums as they are, where it was read; else the sum holds it three times."""
    found = measure_colour(tube(black=2), SMPTE_C, D65)
    assert found.figures["red.luminance_error_percent"] == pytest.approx(0, abs=1e-9)
    assert found.figures["additivity.white.luminance_error_percent"] == pytest.approx(0, abs=1e-9)
    blind = measure_colour(tube(black=2, read_black=False), SMPTE_C, D65)
    # White 102 against 100 + 3 * 2, by hand.
    assert blind.figures["additivity.white.luminance_error_percent"] == pytest.approx(100 * (102 / 106 - 1))
    assert "black (grey at 0 %) was not read" in blind.remarks[-1]


def test_white_that_is_held_back() -> None:
    """A white of 90 % of its parts: told as -10 %, its parts as shares of it, and advised."""
    found = measure_colour(tube(held=0.9), SMPTE_C, D65)
    assert found.figures["additivity.white.luminance_error_percent"] == pytest.approx(-10)
    assert found.figures["additivity.white.delta_uv"] == pytest.approx(0, abs=1e-9)
    assert found.figures["additivity.yellow.luminance_error_percent"] == pytest.approx(0, abs=1e-9)
    assert found.figures["blue.luminance_error_percent"] == pytest.approx(100 / 0.9 - 100)
    (hint,) = advise_colour(found)
    assert hint.adjust == "area of the field"
    assert "10.0 % less light" in hint.why
    drifted = measure_colour(tube(held=1.1), SMPTE_C, D65)
    assert [hint.adjust for hint in advise_colour(drifted)] == ["steadiness"]


def test_a_pale_primary_and_a_wrong_white_are_told() -> None:
    """Pale, shifted and wrong primaries and a wrong white each get the advice that fits."""
    pale = measure_colour(tube(moved={Field.BLUE: (0.18, 0.12)}), SMPTE_C, D65)
    assert pale.figures["blue.dx"] == pytest.approx(0.025)
    assert pale.figures["blue.dy"] == pytest.approx(0.05)
    assert [hint.adjust for hint in advise_colour(pale)] == ["blue field"]
    assert "blue" in colour_finding(pale)
    assert "nearer to white" in advise_colour(pale)[0].why
    aged = measure_colour(tube(moved={Field.GREEN: (0.29, 0.64)}), SMPTE_C, D65)
    assert [hint.adjust for hint in advise_colour(aged)] == ["green field"]
    assert "not towards white" in advise_colour(aged)[0].why
    # Red that lies where blue's side of the triangle begins is nearer to white too, yet far more to the side.
    odd = measure_colour(tube(moved={Field.RED: (0.50, 0.25)}), SMPTE_C, D65)
    assert "not towards white" in advise_colour(odd)[0].why
    warm = measure_colour(tube(white=D65.xy), SMPTE_C, D93)
    assert [hint.adjust for hint in advise_colour(warm)] == ["grey scale"]
    # The distance of the two whites, by hand from their u'v': 0.18876, 0.44572 and 0.19783, 0.46832.
    assert warm.figures["white.delta_uv"] == pytest.approx(math.hypot(0.19783 - 0.18876, 0.46832 - 0.44572), abs=2e-5)


def test_uncertainties_by_hand() -> None:
    """What first order gives for a meter of 2 % and 0.002, and for a better one."""
    for meter in (Meter(), Meter(luminance=0.005, xy=0.0005)):
        found = measure_colour(tube(), SMPTE_C, D65, meter)
        sigma = found.uncertainty
        for axis in "xy":
            assert sigma[f"red.d{axis}"] == pytest.approx(meter.xy, rel=1e-3)
        shares = np.array([found.figures[f"{gun}.share_percent"] for gun in ("red", "green", "blue")], dtype=float)
        # Each is a ratio of two readings.
        for gun, share in zip(("red", "green", "blue"), shares, strict=True):
            assert sigma[f"{gun}.share_percent"] == pytest.approx(share * meter.luminance * math.sqrt(2), rel=0.01)
            assert sigma[f"{gun}.luminance_error_percent"] == pytest.approx(141.42 * meter.luminance, rel=0.01)
        # White against a sum of three.
        wanted = 100 * meter.luminance * math.sqrt(1 + float(((shares / 100) ** 2).sum()))
        assert sigma["additivity.white.luminance_error_percent"] == pytest.approx(wanted, rel=0.01)


@pytest.mark.slow
def test_uncertainties_by_drawing() -> None:
    """Readings drawn anew with the meter's scatter move the figures as told, of a tube whose errors are not nothing."""
    chance = np.random.default_rng(5)
    clean = tube(EBU, (0.300, 0.310), held=0.9, black=0.1)
    told = measure_colour(clean, SMPTE_C, D65)
    drawn = []
    for _ in range(80):
        items = []
        for item in clean.items:
            x, y = np.array(item.xy) + 0.002 * chance.standard_normal(2)
            luminance = item.luminance * (1 + 0.02 * chance.standard_normal())
            xyz = (luminance * x / y, luminance, luminance * (1 - x - y) / y)
            items.append(Reading(field=item.field, level_percent=item.level_percent, xyz=xyz, row=item.row))
        drawn.append(measure_colour(Readings(path=None, items=tuple(items)), SMPTE_C, D65).figures)
    of_white = ("white.cct", "white.duv", "white.delta_uv")
    for name in (*of_white, "red.delta_e_2000", "green.delta_uv", "gamut.area_uv_percent"):
        values = np.array([figures[name] for figures in drawn], dtype=float)
        # The scatter of 80 is known to 8 %; figures that are distances are not quite normal.
        assert told.uncertainty[name] == pytest.approx(values.std(), rel=0.3), name


def test_the_level_with_most_colours_is_taken() -> None:
    """Eight-bit levels such as 75.3 are the same level; of equals the highest is taken; the rest is told."""
    seventy = tube(level=75).items
    rough = [replace(item, level_percent=75.29) if item.field is Field.RED else item for item in seventy]
    some = [item for item in tube().items if item.field in (Field.RED, Field.GREY)]
    found = measure_colour(Readings(path=None, items=(*rough, *some)), SMPTE_C, D65)
    assert found.level_percent == pytest.approx(75, abs=0.3)
    assert found.remarks == ("left out: colours at 100 %; those at 75.3 % are taken",)
    assert found.figures["cyan.delta_uv"] == pytest.approx(0, abs=1e-9)
    both = measure_colour(Readings(path=None, items=(*seventy, *tube().items)), SMPTE_C, D65)
    assert both.level_percent == 100


def test_repeated_readings_give_their_mean_without_outliers() -> None:
    """Repeated readings give their mean without the outlier; more scatter gives more uncertainty."""
    right = tube()
    red = right.of(Field.RED)[0]
    x, y, z = red.xyz
    wild = Reading(field=Field.RED, level_percent=100, xyz=(2 * x, 2 * y, 2 * z), row=77)
    found = measure_colour(Readings(path=None, items=(*right.items, red, wild)), SMPTE_C, D65)
    assert found.figures["red.luminance"] == pytest.approx(y)
    assert found.remarks == ("row 77: red at 100 % is far off the other 2 readings of it, and is not used",)
    # By hand: the standard deviation of all six is 0.069, so that of their mean 2.8 %, where the meter alone has 2 %.
    shares = (0.91, 0.94, 1.0, 1.06, 1.09)
    loose = [replace(red, xyz=(x * k, y * k, z * k), row=100 + row) for row, k in enumerate(shares)]
    scattered = measure_colour(Readings(path=None, items=(*right.items, *loose)), SMPTE_C, D65)
    assert (scattered.uncertainty["red.share_percent"] or 0) > 1.2 * (found.uncertainty["red.share_percent"] or 0)


def test_what_was_not_read_is_null_with_its_reason() -> None:
    """Colours that were not read are null with a reason; the sum of the primaries can replace white."""
    gone = (Field.GREEN, Field.CYAN, Field.GREY)
    found = measure_colour(tube(left_out=gone), SMPTE_C, D65)
    answer = answer_json(colour_answer(found))
    assert answer["primaries"]["green"] is None
    assert answer["secondaries"]["cyan"] is None
    assert answer["white"] is None
    assert answer["gamut"] is None
    assert answer["additivity"].pop("magenta") == pytest.approx({"luminance_error_percent": 0, "delta_uv": 0}, abs=1e-6)
    assert answer["additivity"] == {"cyan": None, "yellow": None, "white": None}
    assert answer["primaries"]["red"]["share_percent"] is None
    assert answer["primaries"]["red"]["delta_e_2000"] is None
    missing = "no green was read at 100 %"
    assert found.reasons["gamut"] == found.reasons["green"] == found.reasons["additivity.yellow"] == missing
    assert found.reasons["luminance"].startswith("no grey was read at 100 %, nor all")
    # With all primaries their sum stands in for white.
    summed = measure_colour(tube(left_out=(Field.GREY,)), SMPTE_C, D65)
    assert summed.figures["red.luminance_error_percent"] == pytest.approx(0, abs=1e-9)
    assert "the sum of red, green and blue is taken for white" in summed.remarks[0]
    one = measure_colour(tube(left_out=tuple(field for field in PARTS if field is not Field.RED)), SMPTE_C, D65)
    assert colour_finding(one).startswith("Error of the primary: red 0.0000")
    assert len(colour_plots(one)) == 2


def test_readings_that_tell_nothing() -> None:
    """Readings without primaries, or with a black as bright as a primary, are refused."""
    right = tube()
    greys = Readings(path=None, items=right.of(Field.GREY))
    with pytest.raises(FileError, match=r"no reading of red, green or blue is in it; 'trueraster measure grey'"):
        measure_colour(greys, SMPTE_C, D65)
    black = Reading(field=Field.GREY, level_percent=0, xyz=(9, 9, 9), row=40)
    bright = [item for item in right.items if item.level_percent > 0]
    with pytest.raises(FileError, match="row 40, column luminance: black gives as much light as blue at 100 %"):
        measure_colour(Readings(path=None, items=(*bright, black)), SMPTE_C, D65)


def test_a_colour_without_light_is_refused() -> None:
    """A primary that gives no light is refused, and the message names its row."""
    items = [*tube(left_out=(Field.BLUE,)).items, Reading(field=Field.BLUE, level_percent=100, xyz=(0, 0, 0), row=31)]
    with pytest.raises(FileError, match="row 31, column luminance: blue at 100 % gives no light"):
        measure_colour(Readings(path=None, items=tuple(items)), SMPTE_C, D65)


def test_a_white_outside_the_triangle_is_refused() -> None:
    """A white that the target's primaries cannot make is refused."""
    with pytest.raises(ValueError, match=r"^--white: x 0.45, y 0.2 lies outside the triangle of SMPTE C"):
        measure_colour(tube(), SMPTE_C, White(name="odd", title="x 0.45, y 0.2", xy=(0.45, 0.2)))


# --- Plots ------------------------------------------------------------------------------------------------------------


def test_looks_are_told_apart_without_colour() -> None:
    """Each field has a shape and dashes of its own, and ink that words can be read in."""
    assert len({look.marker for look in LOOKS.values()}) == len(LOOKS)
    guns = [LOOKS[field].dashes for field in (Field.RED, Field.GREEN, Field.BLUE)]
    assert len({str(dashes) for dashes in guns}) == 3
    for look in LOOKS.values():
        codes = np.array([int(look.ink[i : i + 2], 16) for i in (1, 3, 5)]) / 255
        linear = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
        # WCAG 2's contrast, from memory: at least 4.5 to 1 for words.
        assert 1.05 / (float(linear @ (0.2126, 0.7152, 0.0722)) + 0.05) >= 4.5


def test_plots_tell_their_findings_and_are_the_same_each_time() -> None:
    """Each plot is titled by its finding, is valid SVG or PNG, and has the same bytes in every run."""
    found = measure_colour(tube(EBU, (0.300, 0.310), held=0.9), SMPTE_C, D65)
    plots = colour_plots(found)
    assert [plot.name for plot in plots] == ["colour-diagram", "colour-targets", "colour-light"]
    assert plots[0].title == colour_finding(found)
    svgs = [plot_bytes(plot, "svg") for plot in plots]
    assert [plot_bytes(plot, "svg") for plot in colour_plots(found)] == svgs
    for svg in svgs:
        assert ElementTree.fromstring(svg).tag.endswith("svg")
    assert plot_bytes(plots[0], "png").startswith(b"\x89PNG")


# --- The command ------------------------------------------------------------------------------------------------------


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """A whole set of readings as CSV."""
    path = tmp_path / "harbour lane.csv"
    lines = ["field,level_percent,X,Y,Z"]
    lines += [
        f"{item.field},{item.level_percent:g},{','.join(f'{value:.6f}' for value in item.xyz)}"
        for item in tube(EBU, black=0.1).items
    ]
    path.write_text("\n".join(lines) + "\n")
    return path


def test_command_as_json(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The JSON of `measure colour` has the figures of a known set, and their uncertainties."""
    assert run(["measure", "colour", str(file), "--primaries", "EBU-3213", "--white", "0.3127,0.329", "--json"]) == 0
    told = capsys.readouterr()
    assert told.err == ""
    found: dict[str, Any] = json.loads(told.out)
    assert found["target"]["name"] == "ebu-3213"
    # Black of a thousandth of white makes it paler by this little.
    assert found["primaries"]["red"]["delta_uv"] < 0.002
    # Read with black in it: the luminance of white is 100.1.
    assert found["white"]["luminance"] == pytest.approx(100.1, abs=1e-4)
    assert found["primaries"]["red"]["share_percent"] == pytest.approx(22.20, abs=0.01)
    assert found["uncertainty"]["primaries"]["red"]["dx"] == pytest.approx(0.002, rel=0.01)
    assert found["files"] == {}


def test_command_as_text_with_plots(file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The text fits a terminal and names the meter's uncertainty; all plots are written."""
    folder, meter = tmp_path / "plots to come", ["--meter-luminance", "1", "--meter-xy", "0.001"]
    assert run(["measure", "colour", str(file), "--plots", str(folder), *meter]) == 0
    text = capsys.readouterr().out
    # A long path is folded at its spaces.
    assert str(file) in " ".join(text.split())
    assert all(len(line) <= 100 for line in text.splitlines() if str(tmp_path) not in line)
    assert "for a meter of 1 % in luminance and 0.001 in x and y" in text
    assert "'--primaries ebu-3213' compares the set" in " ".join(text.split())
    names = sorted(path.name for path in folder.iterdir())
    assert names == [f"colour-{name}.{kind}" for name in ("diagram", "light", "targets") for kind in ("png", "svg")]


@pytest.mark.parametrize(
    "odd",
    [
        ["--primaries", "ntsc"],
        ["--primaries", "readings"],
        ["--white", "d50"],
        ["--white", "0.45,0.2"],
        ["--meter-luminance", "0"],
        ["--meter-luminance", "nan"],
        ["--meter-xy", "0.2"],
        ["--meter-xy", "two"],
        ["--plots", "{file}"],
    ],
    ids=" ".join,
)
def test_odd_options_are_one_line(file: Path, odd: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """A wrong option is exit 2 with one line that names it, and nothing on standard output."""
    words = [word.format(file=file) for word in odd]
    assert run(["measure", "colour", str(file), *words]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert odd[0] in told.err
    assert told.err.count("\n") == 1


def test_a_drawn_case_is_told_whole(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A `Colour` without white or secondaries is told without a gap."""
    lines = [line for line in file.read_text().splitlines() if line.split(",")[0] in ("field", "red", "blue")]
    # A file and its folder may have any name.
    file = file.with_name("None nan.csv")
    file.write_text("\n".join(lines))
    assert run(["measure", "colour", str(file)]) == 0
    text = " ".join(capsys.readouterr().out.split()).replace(str(file), "")
    assert "Not available" in text
    assert "no green was read at 100 %" in text
    assert "None" not in text
    assert " nan" not in text


def test_figures_are_finite() -> None:
    """Also for a tube of odd primaries, none of which comes near the standard's."""
    odd = PrimarySet(name="odd", short="odd", title="odd", xy=((0.45, 0.40), (0.30, 0.45), (0.25, 0.20)))
    found: Colour = measure_colour(tube(odd, (0.33, 0.34)), SMPTE_C, D65)
    for some in (found.figures, found.uncertainty):
        assert all(value is None or math.isfinite(value) for value in some.values())
    assert (found.figures["gamut.coverage_uv_percent"] or 0) < 40
