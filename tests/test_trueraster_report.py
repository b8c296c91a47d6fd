"""The report: what it judges and how, what stands on the page, and how it looks in a browser and on paper."""

from __future__ import annotations

import base64
import contextlib
import copy
import io
import itertools
import json
import os
import re
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import colour
import numpy as np
import pypdfium2
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from analysis.answer import Figure, Quantity
from patterns.standards.colour import PRIMARIES_525
from render.errors import FileError
from tests.command import call, refused
from tests.pages import CHROMIUM, Browser, Element, browser, check_alone, read
from trueraster.output.cautions import CAUTIONS
from trueraster.report.defaults import DEFAULTS
from trueraster.report.limits import Limit, Verdict, judged
from trueraster.report.tolerancefile import is_known, known_figures, tolerance_template
from trueraster.report.tolerances import Entry, fits, read_tolerances, tolerances_of

in_browser = pytest.mark.skipif(CHROMIUM is None, reason="there is no Chromium here")


# --- A record, with invented figures -------------------------------------------------------------------------


def geometry(width: float, rotation: float | None, sag: float, reasons: dict[str, str] | None = None) -> dict[str, Any]:
    return {
        "width_mm": width,
        "height_mm": 300.0,
        "rotation_deg": rotation,
        "aspect_error_percent": 0.5,
        "edge_sag_percent": {"left": sag, "right": sag, "top": 0.0, "bottom": 0.0},
        "terms": {},
        "uncertainty": {"width_mm": 0.1, "rotation_deg": 0.01, "edge_sag_percent": {"left": 0.1, "right": 0.1}},
        "nodes": [],
        "advice": [],
        "reasons": reasons or {},
        "finding": "Pincushion: the right edge bends",
        "warnings": ["the photograph is dark"],
        "photo": {
            "path": "/home/somebody/photo.jpg",
            "pattern": "crosshatch",
            "format": "480i",
            "aspect": "4:3",
            "marks_mm": [470.0, 360.0],
            "lens": None,
        },
    }


def grey(delta_uv: float) -> dict[str, Any]:
    steps = [{"level_percent": level, "delta_uv": delta_uv, "luminance": level} for level in (7.5, 50, 100)]
    return {
        "target": {"name": "d65", "x": 0.3127, "y": 0.329},
        "steps": steps,
        "black_cd_m2": 0.02,
        "white_cd_m2": 100.0,
        "contrast": 5000.0,
        "gamma": 2.4,
        "uncertainty": {"gamma": 0.02, "steps": [{"delta_uv": 0.0005}] * 3},
        "advice": [],
        "reasons": {"bt1886_error_percent": "there was no black"},
        "readings": {"path": "grey.csv", "count": 24, "meter_luminance_percent": 2.0, "meter_xy": 0.002},
    }


def picture(shade: int, name: str, caption: str, **more: Any) -> dict[str, Any]:
    file = io.BytesIO()
    Image.new("L", (400, 300), shade).save(file, "PNG")
    data = base64.b64encode(file.getvalue()).decode()
    held = {"date": "2026-03-02", "name": name, "caption": caption, "media_type": "image/png", "size_px": [400, 300]}
    return {**held, "original": {}, "encoding": "base64", "data": data, **more}


def result(kind: str, held: dict[str, Any], day: str = "2026-03-02", **more: Any) -> dict[str, Any]:
    return {"kind": kind, "date": day, "source": f"{kind}.json", "note": "", "result": held, **more}


RECORD: dict[str, Any] = {
    "schema": "trueraster-record",
    "version": 1,
    "made": "2026-03-01T10:00:00+00:00",
    "set": {
        "name": "14-inch monitor, no. 0412",
        "serial": "HL-0412",
        "hours": 18200.5,
        "inputs": ["component"],
        "formats": ["480i"],
        "condition": "red fringes",
    },
    "job": "26-031",
    "bench": "Harbour Lane Repairs",
    "technician": "M.",
    "work": [{"date": "2026-03-03", "text": "recapped the vertical board"}],
    "tolerances": {"geometry.width_mm": 401.0},
    "stages": {
        "as-found": {
            "results": [
                result("geometry", geometry(409.06, 0.349, 2.5)),
                result("grey", grey(0.0102)),
            ],
            "pictures": [picture(90, "before.png", "geometry")],
        },
        "after-adjustment": {
            "results": [
                result("geometry", geometry(401.1, None, 1.95, {"rotation_deg": "a mark is hidden"}), "2026-03-05"),
                result("grey", grey(0.002), "2026-03-05", simulated=True, note="after an hour"),
            ],
            "pictures": [picture(180, "after.png", "geometry")],
        },
        "after-service": {"results": [], "pictures": []},
    },
}


@dataclass(frozen=True)
class Bench:
    """Makes records and reports in a folder."""

    folder: Path

    def record(self, change: Callable[[dict[str, Any]], None] = lambda held: None, name: str = "set.json") -> Path:
        held = copy.deepcopy(RECORD)
        change(held)
        path = self.folder / name
        path.write_text(json.dumps(held), encoding="utf-8")
        return path

    def report(self, change: Callable[[dict[str, Any]], None] = lambda held: None, *more: str | Path) -> Element:
        """The page of a changed record, read strictly."""
        path = self.record(change)
        ran = call("report", path, *more)
        assert ran.code == 0, ran
        return read(path.with_suffix(".html").read_text(encoding="utf-8"))


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def section(root: Element, heading: str) -> Element:
    (found,) = [one for one in root.all("section") if one.all("h2")[0].text == heading]
    return found


def rows(held: Element) -> dict[str, list[str]]:
    """Cells of a table of figures by the words of their figure, with single plain blanks."""
    return {
        tr.all("th")[0].text: [" ".join(td.text.split()) for td in tr.all("td")]
        for table in held.all("table", class_="figures")
        for tr in table.all("tbody")[0].all("tr")
    }


# --- Judging -------------------------------------------------------------------------------------------------


def figure(value: float | None, uncertainty: float | None) -> Figure:
    return Figure(Quantity("a.b", "", signed=True, main=True), value, uncertainty)


SIZE = Limit(most=1.0, of_size=True)
SPAN = Limit(least=2.3, most=2.5)


@pytest.mark.parametrize(
    ("value", "uncertainty", "limit", "expected"),
    [
        # Hand arithmetic: within where value and twice its uncertainty lie inside, beyond where both lie outside.
        (0.75, 0.125, SIZE, Verdict.WITHIN),
        (-0.75, 0.125, SIZE, Verdict.WITHIN),
        (0.76, 0.125, SIZE, Verdict.OPEN),
        (1.24, 0.125, SIZE, Verdict.OPEN),
        (-1.26, 0.125, SIZE, Verdict.BEYOND),
        (1.0, None, SIZE, Verdict.WITHIN),
        (1.0001, None, SIZE, Verdict.BEYOND),
        (0.0, 0.0, Limit(most=0.0, of_size=True), Verdict.WITHIN),
        (2.4, 0.04, SPAN, Verdict.WITHIN),
        (2.4, 0.06, SPAN, Verdict.OPEN),
        (2.2, 0.04, SPAN, Verdict.BEYOND),
        (2.6, 0.04, SPAN, Verdict.BEYOND),
        (94.0, 0.4, Limit(least=95.0), Verdict.BEYOND),
        (-5.0, 0.4, Limit(most=1.0), Verdict.WITHIN),
        (None, None, SIZE, None),
        (1.0, 0.1, None, None),
    ],
)
def test_a_figure_is_judged_with_its_uncertainty(
    value: float | None, uncertainty: float | None, limit: Limit | None, expected: Verdict | None
) -> None:
    """A figure is within, beyond or open according to its value and twice its uncertainty."""
    assert judged(figure(value, uncertainty), limit) is expected


def test_limits_in_words() -> None:
    """As a technician would say them."""
    assert SIZE.words(signed=True) == "± 1"
    assert SIZE.words(signed=False) == "at most 1"
    assert Limit(most=0.0, of_size=True).words(signed=True) == "at most 0"
    assert SPAN.words(signed=False) == "2.3 to 2.5"
    assert Limit(least=95.0).words(signed=False) == "at least 95"
    assert Limit(least=-1.0, most=0.0035).words(signed=True) == "-1 to 0.0035"


def test_the_sets_own_tolerance_goes_first_then_the_benchs_then_the_usual() -> None:
    """In each the whole name goes before one with a star; false takes the judging away."""
    file = [
        Entry(name="geometry.*", limit=Limit(most=9.0, of_size=True), source="bench"),
        Entry(name="geometry.edge_sag_percent.*", limit=Limit(most=5.0, of_size=True), source="bench"),
        Entry(name="geometry.edge_sag_percent.left", limit=None, source="bench"),
    ]
    found = tolerances_of({"geometry.rotation_deg": 0.1}, file)

    def most(name: str) -> float | None:
        one = found.of(name)
        return None if one is None else one.limit.most

    assert most("geometry.rotation_deg") == 0.1
    assert most("geometry.width_mm") == 9.0
    assert most("geometry.edge_sag_percent.right") == 5.0
    assert most("geometry.edge_sag_percent.left") is None
    # STANDARDS 5.1, broadcast monitor of the first grade, common practice: 0.1 % of the height in the centre.
    assert most("convergence.centre_max_percent") == 0.1
    assert most("convergence.zones_percent.centre.red") == 0.1
    assert most("convergence.zones_percent.top_left.red") == 0.3
    assert most("grey.steps.7.5.delta_uv") == 0.004
    assert most("grey.white_cd_m2") is None
    assert found.unused(["geometry.width_mm"]) == [
        "geometry.rotation_deg",
        "geometry.edge_sag_percent.*",
        "geometry.edge_sag_percent.left",
    ]


def test_usual_tolerances_name_figures_that_there_are_and_their_source() -> None:
    """No limit is for nothing; each says that it is common practice or names a document with how far it was checked."""
    ids = list(known_figures())
    for one in DEFAULTS:
        assert any(fits(one.name, name) for name in ids), one.name
        marks = ("common practice", "secondary text", "from memory", "the tolerance that verify was given")
        assert any(mark in one.source for mark in marks), one.source
    by_name = {one.name: one for one in DEFAULTS}
    # Of a broadcast monitor, STANDARDS 5.1: linearity 2 to 3 %, of the shape the tighter half; ISO 9241-303: 1 %.
    expected = {"centre_percent.*": 1, "edge_sag_percent.*": 0.5, "linearity_h_percent": 2, "keystone_h_percent": 1}
    assert {name: by_name[f"geometry.{name}"].limit.most for name in expected} == expected
    # STANDARDS 5, ISO 12646: 10 % and 0.01 in u'v'; tubes: 15 to 30 %.
    assert by_name["uniformity.white.dimmest_percent"].limit == Limit(least=90.0)
    assert by_name["uniformity.white.delta_uv"].limit.most == 0.01
    assert by_name["uniformity.white.fall_off_percent"].limit.most == 30.0


def test_the_tolerance_of_a_primary_is_that_of_its_document_in_other_coordinates() -> None:
    """colour-science: the corners of a box of +- 0.005 around RP 145's x and y, farthest from its middle in u'v'."""
    by_name = {one.name: one.limit.most for one in DEFAULTS}
    points = np.array([float(part) for part in PRIMARIES_525.value]).reshape(3, 2)
    for name, middle in zip(("red", "green", "blue"), points, strict=True):
        corners = [middle + 0.005 * np.array(signs) for signs in itertools.product((-1, 1), repeat=2)]
        farthest = max(float(np.hypot(*(colour.xy_to_Luv_uv(c) - colour.xy_to_Luv_uv(middle)))) for c in corners)
        told = by_name[f"colour.primaries.{name}.delta_uv"]
        assert told is not None
        assert 0 <= told - farthest < 2e-4, name


# --- Files of tolerances -------------------------------------------------------------------------------------


def test_a_file_of_tolerances(tmp_path: Path) -> None:
    """Numbers, ranges and false, in tables or with dots."""
    path = tmp_path / "bench.toml"
    path.write_text(
        'convergence.centre_max_mm = 0.3\n[grey]\ngamma = { least = 2.2, most = 2.6 }\n"steps.*.delta_uv" = false\n'
        "[colour.gamut]\ncoverage_uv_percent = { least = 95 }\n",
        encoding="utf-8",
    )
    found = {entry.name: entry.limit for entry in read_tolerances(path)}
    assert found == {
        "convergence.centre_max_mm": Limit(most=0.3, of_size=True),
        "grey.gamma": Limit(least=2.2, most=2.6),
        "grey.steps.*.delta_uv": None,
        "colour.gamut.coverage_uv_percent": Limit(least=95.0),
    }


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[grey\n", "line 1"),
        ("grey.gamma = 'much'\n", "grey.gamma: a number"),
        ("grey.gamma = true\n", "not true"),
        ("grey.gamma = -1\n", "not -1"),
        ("grey.gamma = nan\n", "not NaN"),
        ("grey.gamma = [1, 2]\n", "grey.gamma"),
        ("grey.gamma = { least = 'a' }\n", "grey.gamma"),
        ("grey.gamma = { least = 3, most = 2 }\n", "least, 3, is more than most, 2"),
        ('"*a*b*c*" = 1\n', "at most 3 *"),
        ("a = 1\na = 2\n", "line 2"),
    ],
)
def test_a_broken_file_of_tolerances_is_refused_in_one_line(text: str, told: str, bench: Bench) -> None:
    """A mistake in a file of tolerances is one line that names the place, and no report is written."""
    path = bench.folder / "bench.toml"
    path.write_text(text, encoding="utf-8")
    refused("report", bench.record(), "--tolerances", path, told=told)
    assert not (bench.folder / "set.html").exists()


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.binary(max_size=60) | st.text(alphabet="[]{}.=\"'*a1-\n #,truefalsnx", max_size=60).map(str.encode))
def test_any_bytes_as_tolerances_are_read_or_refused(data: bytes, tmp_path: Path) -> None:
    """Any bytes give tolerances or the project's own error."""
    path = tmp_path / "bench.toml"
    path.write_bytes(data)
    with contextlib.suppress(FileError):
        for entry in read_tolerances(path):
            assert entry.limit is None or entry.limit.least is not None or entry.limit.most is not None


def test_the_template_is_the_usual_tolerances(bench: Bench) -> None:
    """Read again it says what is usual; it names every figure there is; and it is never written over a file."""
    path = bench.folder / "new" / "bench.toml"
    ran = call("report", "--tolerances-template", path)
    assert (ran.code, ran.err) == (0, "")
    assert str(path) in ran.out
    assert {entry.name: entry.limit for entry in read_tolerances(path)} == {one.name: one.limit for one in DEFAULTS}
    text = path.read_text(encoding="utf-8")
    assert text == tolerance_template()
    named = re.findall(r'^(?:# )?"?([\w.*]+)"? = ', text, re.MULTILINE)
    for one in known_figures():
        name = one.partition(".")[2].replace("steps.50.", "steps.*.")
        assert any(fits(shape, name) or shape == name for shape in named), one
    refused("report", "--tolerances-template", path, told="is there already")
    refused("report", "--tolerances-template", bench.folder / "a.txt", told="ends in .toml")


# --- The page ------------------------------------------------------------------------------------------------


def test_before_and_after_stand_side_by_side(bench: Bench) -> None:
    """Each figure with its uncertainty, its tolerance and the verdict, at every stage; hand arithmetic."""
    root = bench.report()
    shown = rows(section(root, "Geometry, crosshatch in 480i"))
    # Two uncertainties of 0.1 mm around 401.1 hold the 401.0 agreed for this set.
    assert shown["width of the picture mm"] == ["at most 401 a", "409.06 ± 0.10 beyond", "401.10 ± 0.10 open"]
    assert shown["rotation, + is clockwise degrees"] == ["± 0.25 b", "+0.349 ± 0.010 beyond", "not told"]
    # 2.5 and 1.95 less twice 0.1 are above the 0.5 of a broadcast set.
    assert shown["bend at the left, + is inward % of height"] == [
        "± 0.5 b",
        "+2.50 ± 0.10 beyond",
        "+1.95 ± 0.10 beyond",
    ]
    assert shown["height of the picture mm"] == ["not judged", "300", "300"]
    steps = rows(section(root, "Grey scale, white D65"))
    assert steps["7.5 %: colour error u'v'"][1:] == ["0.0102 ± 0.0005 beyond", "0.0020 ± 0.0005 within"]
    assert steps["gamma"][0] == "not judged"
    sources = [li.text for li in section(root, "Where the tolerances come from").all("li")]
    assert sources[0] == "a agreed for this set"
    assert sources[1] == "b common practice, no source: typical of a broadcast set in good order"


def test_a_page_says_who_what_when_and_how(bench: Bench) -> None:
    """Identity, condition, work with its day, how it was measured, cautions, version, and no folder of anybody's."""
    root = bench.report()
    (header,) = root.all("header")
    for words in ("HL-0412", "18,200.5", "component", "480i", "26-031", "M.", "red fringes", "Harbour Lane Repairs"):
        assert words in header.text, words
    assert section(root, "What was done").all("td")[0].text == "2026-03-03"
    assert "recapped the vertical board" in section(root, "What was done").text
    how = section(root, "How it was measured").text
    for words in (
        "trueraster measure geometry",
        "crosshatch in 480i",
        "four, 470 × 360 mm apart",
        "no lens file",
        "photo.jpg",
        "D65 (x 0.3127, y 0.329)",
        "± 2 % in luminance, ± 0.002 in x and y",
        "24 readings",
        "the photograph is dark",
        "yes, no real set",
    ):
        assert words in how, words
    assert "somebody" not in how
    cautions = section(root, "Cautions").text
    assert all(caution.title in cautions and caution.text in cautions for caution in CAUTIONS)
    (footer,) = root.all("footer")
    assert re.search(r"trueraster \d+\.\d+", footer.text)
    assert "Simulation" in root.all("p", class_="simulated")[0].text
    assert "simulated" in section(root, "Grey scale, white D65").text
    assert "after an hour" in section(root, "Grey scale, white D65").text


def test_at_a_glance_it_says_how_the_set_stands(bench: Bench) -> None:
    """Counts by stage, and what is not within as it was measured last, what is beyond before what is open."""
    root = bench.report(lambda held: held["tolerances"].update({"grey.white_cd_m2": 90.0}))
    glance = section(root, "At a glance")
    table = {tr.all("th")[0].text: [td.text for td in tr.all("td")] for tr in glance.all("tbody")[0].all("tr")}
    # Geometry: width, shape, rotation and four bends; grey: white and three steps. Rotation is not told after.
    assert table["as found"] == ["11", "3", "8", "0"]
    assert table["after adjustment"] == ["10", "6", "3", "1"]
    listed = [li.text for li in glance.all("li")]
    assert "Grey scale, white D65: white 100 cd/m², tolerance at most 90 beyond" in listed
    assert [words.rsplit(" ", 1)[1] for words in listed] == ["beyond"] * 4 + ["open"]
    assert "of 11 figures that are judged 6 lie within tolerance, 4 lie beyond and 1 is left open" in glance.text


def test_what_could_not_be_told_has_its_reason(bench: Bench) -> None:
    """The report lists what is not available, with stage, figure and reason."""

    def change(held: dict[str, Any]) -> None:
        held["stages"]["after-adjustment"]["results"].pop()
        reasons = held["stages"]["as-found"]["results"][1]["result"]["reasons"]
        reasons |= {"steps.0.cct": "too dark", "steps.0.duv": "too dark", "repeats.drift": "nothing was read twice"}

    root = bench.report(change)
    told = [li.text for li in section(root, "What could not be told").all("li")]
    assert "Geometry, crosshatch in 480i, after adjustment: rotation, + is clockwise : a mark is hidden" in told
    assert "Grey scale, white D65, as found: largest deviation from BT.1886 : there was no black" in told
    assert "Grey scale, white D65 : not measured after adjustment" in told
    colour_of = "correlated colour temperature, Duv, distance from the Planckian locus, + is greenish"
    assert f"Grey scale, white D65, as found: 7.5 %: {colour_of} : too dark" in told
    assert "Grey scale, white D65, as found: whether readings drift : nothing was read twice" in told


def test_text_of_a_record_is_shown_as_text(bench: Bench) -> None:
    """Whatever it holds: no element comes of it, and every letter of it stands on the page."""
    nasty = "</style><script>alert(1)</script>\"'&<img src=x onerror=alert(1)>{{ 7 * 7 }}"

    def change(held: dict[str, Any]) -> None:
        held["set"] = {"name": nasty, "serial": nasty, "condition": nasty, "inputs": [nasty], "formats": [nasty]}
        held["bench"] = held["technician"] = held["job"] = held["simulated"] = nasty
        held["work"] = [{"date": "2026-03-03", "text": nasty}]
        for content in held["stages"].values():
            for one in content["results"]:
                one["source"] = one["note"] = nasty
                one["result"]["finding"] = nasty
                one["result"]["reasons"] = {nasty: nasty}
                one["result"]["warnings"] = [nasty]
            for one in content["pictures"]:
                one["caption"] = one["name"] = nasty
        held["stages"]["as-found"]["results"].append(result(nasty, {"a": 1}))

    root = bench.report(change)
    assert not root.all("script")
    assert len(root.all("img")) == 2
    assert len(root.all("style")) == 1
    for heading in ("What was done", "Pictures", "How it was measured", "What could not be told"):
        assert nasty in section(root, heading).text, heading
    assert root.all("h1")[0].text == nasty


def test_what_html_forbids_is_shown_as_an_escape(bench: Bench) -> None:
    """Control characters, halves of UTF-16 pairs, and what turns the writing direction, in all texts of a record."""
    odd = "a\x1b[31m\x00\x85\ud800\ufffe\u202eb"

    def change(held: dict[str, Any]) -> None:
        held["set"] = {"name": odd, "serial": odd, "condition": odd, "inputs": [odd], "formats": [odd]}
        held["work"] = [{"date": "2026-03-03", "text": odd}]
        for one in held["stages"]["as-found"]["results"]:
            one["source"] = one["note"] = one["result"]["finding"] = odd

    root = bench.report(change)
    shown = r"a\x1b[31m\x00\x85\ud800\ufffe\u202eb"
    assert root.all("h1")[0].text == shown
    assert shown in section(root, "What was done").text
    # Printed at the head of each page; the style sheet has it in escapes of its own.
    assert r"a\5c x1b\5b 31m" in root.all("style")[0].text


def test_the_page_needs_nothing_from_elsewhere(bench: Bench) -> None:
    """The page has no script and no address: all that it shows is inside it."""
    bench.report()
    assert not check_alone((bench.folder / "set.html").read_text(encoding="utf-8")).all("script")


def test_pictures_of_one_caption_stand_together(bench: Bench) -> None:
    """As found beside after adjustment, each the very file of the record; what is broken is told, not failed."""

    def change(held: dict[str, Any]) -> None:
        held["stages"]["as-found"]["pictures"].append(picture(10, "hollow.png", "", data="AAAA"))
        held["stages"]["as-found"]["pictures"].append(picture(10, "liar.png", "", media_type="image/jpeg"))

    root = bench.report(change)
    groups = section(root, "Pictures").all("div", class_="pictures")
    assert [len(group.all("figure")) for group in groups] == [2, 1, 1]
    shades = []
    for image in groups[0].all("img"):
        data = base64.b64decode(image.given["src"].partition("base64,")[2])
        with Image.open(io.BytesIO(data)) as opened:
            shades.append(opened.getpixel((5, 5)))
    assert shades == [90, 180]
    assert all("cannot be shown" in group.text for group in groups[1:])
    ran = call("report", bench.folder / "set.json", "--json")
    assert json.loads(ran.out)["pictures"] == 2
    assert "hollow.png" in ran.err


def test_many_pictures_are_made_smaller(bench: Bench) -> None:
    """Beyond 8 MB together none is longer than 1000 samples; the page stays of a size that can be sent."""
    noise = np.random.default_rng(1).integers(0, 256, (1200, 1600, 3), dtype=np.uint8)
    file = io.BytesIO()
    Image.fromarray(noise).save(file, "JPEG", quality=95)
    large = {"data": base64.b64encode(file.getvalue()).decode(), "media_type": "image/jpeg", "size_px": [1600, 1200]}
    assert 6 * len(file.getvalue()) > 8 << 20
    added = [picture(0, f"{i}.jpg", "", **large) for i in range(6)]

    def change(held: dict[str, Any]) -> None:
        held["stages"]["as-found"]["pictures"] = added
        held["stages"]["after-adjustment"]["pictures"] = []

    root = bench.report(change)
    sizes = {(image.given["width"], image.given["height"]) for image in root.all("img")}
    assert sizes == {("1000", "750")}
    assert (bench.folder / "set.html").stat().st_size < 8 << 20


def test_a_record_with_nothing_in_it_gives_a_page(bench: Bench) -> None:
    """An empty record gives a page that says in each section that there is nothing."""

    def change(held: dict[str, Any]) -> None:
        held.clear()
        held.update({"schema": "trueraster-record", "version": 1})

    root = bench.report(change)
    assert root.all("h1")[0].text == "A set without a name"
    assert "Nothing has been measured." in section(root, "At a glance").text
    assert "No work is noted." in section(root, "What was done").text
    assert "No pictures" in section(root, "Pictures").text
    assert "nothing has been measured yet" in section(root, "What could not be told").text


def test_a_record_with_one_stage_gives_a_page(bench: Bench) -> None:
    """A record with one stage gives a table with that stage alone."""
    root = bench.report(lambda held: held["stages"].pop("after-adjustment"))
    shown = rows(section(root, "Geometry, crosshatch in 480i"))
    assert shown["rotation, + is clockwise degrees"][1:] == ["+0.349 ± 0.010 beyond"]


def test_of_several_results_the_last_one_counts_and_an_unknown_one_is_told(bench: Bench) -> None:
    """The last result of a kind counts, and an unknown kind is listed as such."""

    def change(held: dict[str, Any]) -> None:
        found = held["stages"]["as-found"]["results"]
        found += [result("geometry", geometry(1e300, 0.2, 0.0)), result("novel", {"a": 1})]

    root = bench.report(change)
    shown = rows(section(root, "Geometry, crosshatch in 480i"))
    assert shown["rotation, + is clockwise degrees"][1] == "+0.200 ± 0.010 within"
    # What no set can have is told short: a page has no room for it.
    assert shown["width of the picture mm"][1] == "1e+300 ± 0.1 beyond"
    assert "the last of 2 results" in section(root, "How it was measured").text
    assert "does not know" in section(root, "What could not be told").text
    assert section(root, "Novel")


def test_names_are_unique_and_headings_in_order(bench: Bench) -> None:
    """Ids are unique, headings skip no level, and each picture has a description."""
    root = bench.report()
    ids = [e.given["id"] for e in root.all() if "id" in e.given]
    assert len(ids) == len(set(ids))
    assert {e.given["aria-labelledby"] for e in root.all() if "aria-labelledby" in e.given} <= set(ids)
    levels = [int(e.name[1]) for e in root.all() if re.fullmatch("h[1-6]", e.name)]
    assert levels.count(1) == 1
    assert all(later <= earlier + 1 for earlier, later in itertools.pairwise(levels))
    for one in root.all("img"):
        assert one.given["alt"]


# --- The command ---------------------------------------------------------------------------------------------


def test_the_report_stands_beside_the_record_or_where_it_is_wanted(bench: Bench) -> None:
    """The report is written beside the record or where --to says, and the record is not changed."""
    path = bench.record()
    before = path.read_bytes()
    assert call("report", path).code == 0
    elsewhere = bench.folder / "deep" / "sheet.html"
    assert call("report", path, "--to", elsewhere).code == 0
    assert (bench.folder / "set.html").read_text(encoding="utf-8") == elsewhere.read_text(encoding="utf-8")
    assert path.read_bytes() == before
    assert sorted(one.name for one in bench.folder.iterdir()) == ["deep", "set.html", "set.json"]


def test_mistakes_are_one_line(bench: Bench) -> None:
    """Each mistake is one line that names the argument, and no file is written."""
    path = bench.record()
    refused("report", told="RECORD")
    refused("report", bench.folder / "no.json", told="no.json")
    refused("report", path, "--to", "sheet.pdf", told=".html")
    refused("report", path, "--to", bench.folder, told="--to")
    refused("report", path, "--tolerances", bench.folder / "no.toml", told="no.toml")
    refused("report", "--to", "a.html", told="RECORD")
    page = bench.record(name="record.html")
    refused("report", page, told="ends in .json")
    refused("report", page, "--to", page, told="would be lost")
    refused("report", path, "--to", "sheet.pdf", "--tolerances-template", bench.folder / "new.toml", told=".html")
    (bench.folder / "x.html").mkdir()
    refused("report", path, "--to", bench.folder / "x.html", told="is a folder")
    path.write_text("{", encoding="utf-8")
    refused("report", path, told="set.json")
    assert sorted(one.name for one in bench.folder.iterdir()) == ["record.html", "set.json", "x.html"]


def test_json_is_one_object_with_every_verdict(bench: Bench) -> None:
    """The JSON has each figure with tolerance, source and verdict, and names tolerances that were not used."""
    own = bench.folder / "bench.toml"
    own.write_text("geometry.height_mm = { least = 290, most = 310 }\ngeometry.widht_mm = 3\n", encoding="utf-8")
    ran = call("report", bench.record(), "--tolerances", own, "--json")
    told = json.loads(ran.out)
    by_id = {one["id"]: one for one in told["figures"]}
    height = by_id["geometry.height_mm"]
    assert height["tolerance"] == {"least": 290.0, "most": 310.0, "of_size": False}
    assert height["source"] == "the bench's own: bench.toml"
    assert height["stages"]["as-found"] == {"value": 300.0, "uncertainty": None, "verdict": "within"}
    assert by_id["geometry.width_mm"]["source"] == "agreed for this set"
    assert by_id["geometry.width_mm"]["stages"]["after-adjustment"]["verdict"] == "open"
    # As on the page, and the height too.
    assert told["judged"]["as-found"] == {"within": 4, "beyond": 7, "open": 0}
    assert told["simulated"] is True
    # A slip of the pen is told; a figure that only this record does not have is none.
    assert told["unused_tolerances"] == ["geometry.widht_mm"]
    assert "geometry.widht_mm" in ran.err
    assert is_known("grey.steps.7.5.cct")
    assert is_known("uniformity.*.delta_uv")
    assert not is_known("geometry.widht_mm")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("fuzz")


TEXT = st.text(st.characters(exclude_categories=()), max_size=8)
"""Halves of UTF-16 pairs are among it, which JSON may hold as escapes."""
ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | TEXT,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=6,
)


def places(held: Any, above: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """The paths of all values."""
    inner = held.items() if isinstance(held, dict) else enumerate(held) if isinstance(held, list) else ()
    for key, value in inner:
        yield (*above, key)
        yield from places(value, (*above, key))


PLACES = list(places(RECORD))


@settings(max_examples=60)
@given(changes=st.lists(st.tuples(st.sampled_from(PLACES), ANYTHING), min_size=1, max_size=4))
def test_a_record_that_was_changed_by_hand_gives_a_page_or_one_line(
    changes: list[tuple[tuple[Any, ...], Any]], folder: Path
) -> None:
    """A record with arbitrary values gives a page or one line, and never a traceback."""
    held = copy.deepcopy(RECORD)
    for place, value in changes:
        inner: Any = held
        with contextlib.suppress(LookupError, TypeError):
            for key in place[:-1]:
                inner = inner[key]
            inner[place[-1]] = value
    path = folder / "set.json"
    path.write_text(json.dumps(held), encoding="utf-8")
    page = folder / "set.html"
    page.unlink(missing_ok=True)
    ran = call("report", path)
    assert ran.code in (0, 2), ran
    assert "Traceback" not in ran.err
    if ran.code == 0:
        read(page.read_text(encoding="utf-8"))
    else:
        assert ran.err.count("\n") == 1
        assert not page.exists()


# --- In a browser, and on paper ------------------------------------------------------------------------------


def stretched(held: dict[str, Any]) -> None:
    """Three stages and texts without end."""
    held["set"].update(name="Monitor" * 40, condition="W" * 2000, inputs=["component" * 30])
    held["work"].append({"date": "2026-03-04", "text": "M" * 2000})
    held["stages"]["after-service"] = copy.deepcopy(held["stages"]["after-adjustment"])
    for content in held["stages"].values():
        content["pictures"][0]["caption"] = "C" * 300
        content["results"][0]["note"] = "N" * 500
        content["results"][0]["source"] = "S" * 200
        content["results"][0]["result"]["width_mm"] = 1e300
        content["results"][0]["result"]["reasons"] = {"r" * 200: "w" * 300}


@pytest.fixture(scope="module", params=[lambda held: None, stretched], ids=["usual", "stretched"])
def shown(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    bench = Bench(tmp_path_factory.mktemp("page"))
    bench.report(request.param)
    with browser(bench.folder / "set.html") as found:
        yield found


@in_browser
@pytest.mark.parametrize("width", [320, 390, 768, 1280])
def test_nothing_runs_out_of_the_window(shown: Browser, width: int) -> None:
    """At the widths of phones, a tablet and a desk: neither the page nor anything in it is wider than it may be."""
    shown.show(width, 800)
    assert shown.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    out = shown.evaluate(
        "[...document.querySelectorAll('body *')].filter(e => e.getBoundingClientRect().right > "
        "document.documentElement.clientWidth + 0.5).map(e => e.outerHTML.slice(0, 90))"
    )
    assert out == []


@in_browser
def test_the_browser_finds_nothing_wrong_and_fetches_nothing(shown: Browser) -> None:
    """Pictures are there, in their own proportion; no error, no request but for the page and its data."""
    assert shown.evaluate("[...document.images].every(i => i.complete && i.naturalWidth > 0)")
    assert shown.evaluate(
        "[...document.images].every(i => Math.abs(i.width / i.height - i.naturalWidth / i.naturalHeight) < 0.02)"
    )
    said = [event for event in shown.events if event.get("method") in ("Log.entryAdded", "Runtime.exceptionThrown")]
    assert said == []
    asked = [
        event["params"]["request"]["url"]
        for event in shown.events
        if event.get("method") == "Network.requestWillBeSent"
    ]
    assert all(url.startswith(("file:", "data:")) for url in asked)
    assert sum(url.startswith("file:") for url in asked) <= 1


@in_browser
def test_it_prints_on_a4(shown: Browser) -> None:
    """All pages are A4 (ISO 216: 210 x 297 mm), none is empty, and words keep off the edge."""
    data = base64.b64decode(shown.call("Page.printToPDF", preferCSSPageSize=True)["data"])
    document = pypdfium2.PdfDocument(data)
    try:
        assert len(document) >= 2
        for page in document:
            width, height = page.get_size()
            assert (width * 25.4 / 72, height * 25.4 / 72) == (pytest.approx(210, abs=0.5), pytest.approx(297, abs=0.5))
            drawn = np.asarray(page.render(scale=0.5).to_pil().convert("L"))
            ink = drawn < 200
            # Below the line that names the set, and above the number.
            assert ink[35:-35].any()
            margin = round(12 / 25.4 * 36)
            assert not ink[:, :margin].any()
            assert not ink[:, -margin:].any()
    finally:
        document.close()


@pytest.mark.slow
def test_a_newcomer_has_a_whole_report_in_a_minute(tmp_path: Path) -> None:
    """`record demo`, then `report`: marked as simulation, with figures, pictures and verdicts."""
    program = [sys.executable, "-c", "from trueraster.cli import main; main()"]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    begun = time.monotonic()
    for words in (["record", "demo", "--to", "demo.json"], ["report", "demo.json"]):
        done = subprocess.run([*program, *words], cwd=tmp_path, capture_output=True, env=environment, timeout=60)
        assert (done.returncode, done.stderr) == (0, b"")
    assert time.monotonic() - begun < 60
    root = read((tmp_path / "demo.html").read_text(encoding="utf-8"))
    assert "Simulation" in root.all("p", class_="simulated")[0].text
    assert len(root.all("img")) >= 4
    assert {"within", "beyond", "open"} <= {b.text for b in root.all("b", class_="verdict")}
    assert (tmp_path / "demo.html").stat().st_size < 6 << 20


def test_neither_black_s_colour_nor_gamma_is_judged_unasked() -> None:
    """Black has hardly a colour; and BT.1886 with a black of 0.1 % of white is a gamma of about 2.04 above black: by
    colour-science's curve, fitted by hand from 10 to 90 %."""
    usual = tolerances_of({}, [])
    assert usual.of("grey.steps.0.delta_uv") is None
    assert usual.of("grey.steps.5.delta_uv") is not None
    levels = np.arange(0.1, 0.95, 0.1)
    light = (colour.models.eotf_BT1886(levels, L_B=0.1, L_W=100) - 0.1) / 99.9
    assert np.polyfit(np.log(levels), np.log(light), 1)[0] < 2.1
    assert usual.of("grey.gamma") is None
    assert tolerances_of({"grey.steps.0.delta_uv": 0.01}, []).of("grey.steps.0.delta_uv") is not None
