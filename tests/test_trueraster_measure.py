"""`measure geometry` and `measure convergence` on a SIMULATED photograph whose every error is known."""

from __future__ import annotations

import base64
import io
import json
import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image

from analysis.lens.file import save_lens
from tests.command import call
from tests.matrix import quick_and_slow
from tests.pages import check_alone
from tests.trials.photos.board import Board, board_cameras, board_photograph
from tests.trials.photos.camera import distorted
from tests.trials.photos.photograph import save
from tests.trials.photos.run import lens_of
from tests.trials.photos.sets import PhotoSet, plain_set
from tests.trials.photos.tube import deflection, terms

Codes = NDArray[Any]

MARKS = ("--marks-mm", "460x360", "--depth-mm", "0", "--glass-radius-mm", "flat")


@dataclass(frozen=True, eq=False)
class Bench:
    """The photograph, others made of it, and the set."""

    folder: Path
    of: PhotoSet
    image: Codes

    @property
    def photo(self) -> Path:
        return self.folder / "photo.jpg"

    def changed(self, name: str, change: Callable[[Codes], Codes]) -> Path:
        path = self.folder / f"{name}.png"
        return path if path.exists() else save(path, np.ascontiguousarray(change(self.image)))

    def without_marks(self, numbers: tuple[int, ...]) -> Path:
        """The bezel's grey over marks, as if they were not there."""

        def painted(image: Codes) -> Codes:
            image = image.copy()
            for x, y in self.of.marks_px()[list(numbers)]:
                reach = int(0.06 * image.shape[1])
                cv2.rectangle(
                    image, (int(x) - reach, int(y) - reach), (int(x) + reach, int(y) + reach), (40, 40, 40), -1
                )
            return image

        return self.changed(f"without{''.join(map(str, numbers))}", painted)


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    """A picture of 400 x 300 mm, 2 mm right, 1 mm high, turned by half a degree, barrel-shaped at the sides by 3 mm,
    cells taller at the bottom; red 0.3 mm right of green, blue 0.4 mm low at the right and as much high at the left."""
    one = plain_set(
        1.25,
        format_id="480i",
        deflection=deflection(400, 300, centre=(2, -1), rotation_deg=0.5, x={"uv2": -3.0}, y={"v2": 2.0}),
        red=terms({"1": 0.3}),
        blue=terms(None, {"u": 0.4}),
    )
    one = replace(one, camera=distorted(one.camera, 0.3))
    folder = tmp_path_factory.mktemp("photographs")
    image = one.photograph()
    # Colour at half the pixels would blur what convergence is told by.
    save(folder / "photo.jpg", image, quality=92, subsampled=False)
    save_lens(lens_of(one.camera), folder / "lens.json")
    return Bench(folder, one, image)


def answer(*words: object) -> dict[str, Any]:
    code, out, err = call("measure", *words, "--json")
    assert (code, err) == (0, "")
    found = json.loads(out)
    assert isinstance(found, dict)
    return found


@pytest.fixture(scope="module")
def geometry(bench: Bench) -> dict[str, Any]:
    return answer("geometry", bench.photo, *MARKS, "--lens", bench.folder / "lens.json")


@pytest.fixture(scope="module")
def convergence(bench: Bench) -> dict[str, Any]:
    return answer("convergence", bench.photo, *MARKS, "--lens", bench.folder / "lens.json")


# --- What is told -----------------------------------------------------------------------------------------------------


# By hand: over the 17 x 13 nodes the mean of u u is 0.375 and that of v v 7/18; so the term uv2 of -3 mm makes the
# picture narrower by 6 * 7/18 mm, and v2 of 2 mm moves its middle by 2 * 7/18 mm. The outermost lines that are seen
# are those at 7/8 and 5/6 of the half; the sides bend by 7/8 * 3 mm, outward. With cells of 1/6 the lowest is taller
# than the mean by 2 * 11/6 of 150 mm, which is their mean. The glass shows 392 x 294 mm about the marks' middle.
EXPECTED = {
    "centre_mm.0": (2.0, 0.07),
    "centre_mm.1": (-1 + 7 / 9, 0.07),
    "width_mm": (400 - 7 / 3, 0.1),
    "height_mm": (300.0, 0.1),
    "rotation_deg": (0.5, 0.02),
    "parallelogram_deg": (0.0, 0.02),
    "linearity_v_percent": (100 * 2 * 11 / 6 / 150, 0.1),
    "linearity_h_percent": (0.0, 0.1),
    "edge_sag_mm.left": (-3 * 7 / 8, 0.05),
    "edge_sag_mm.right": (-3 * 7 / 8, 0.05),
    "edge_sag_mm.top": (0.0, 0.05),
    "edge_sag_mm.bottom": (0.0, 0.05),
    "keystone_h_percent": (0.0, 0.1),
    "bow_h_mm": (0.0, 0.05),
}


@pytest.mark.parametrize("name", EXPECTED)
def test_geometry_is_that_of_the_tube(name: str, geometry: dict[str, Any]) -> None:
    """Each figure is that of the simulated tube, with an uncertainty of the right size."""
    found: Any = geometry
    uncertain: Any = geometry["uncertainty"]
    for part in name.split("."):
        found, uncertain = (some[int(part) if isinstance(some, list) else part] for some in (found, uncertain))
    value, limit = EXPECTED[name]
    assert abs(found - value) < limit
    if name in ("width_mm", "height_mm"):
        # Mostly of the ruler, 0.3 mm of 460 and of 360 mm.
        assert uncertain == pytest.approx(0.3 * value / {"width_mm": 460, "height_mm": 360}[name], abs=0.02)
    else:
        # The marks' places by a ruler, 0.3 mm each, move middle and angles.
        assert 0 < uncertain < max(1.5 * limit, {"centre_mm": 0.3, "rotation_deg": 0.08}.get(name.split(".")[0], 0.1))


def test_advice_names_what_was_done_to_the_tube(geometry: dict[str, Any]) -> None:
    """The advice names exactly the controls that were turned on the simulated tube."""
    advice = {item["adjust"]: item for item in geometry["advice"]}
    assert advice["Horizontal centre"]["direction"] == "to the left"
    assert advice["Horizontal centre"]["amount"] == pytest.approx(2.0, abs=0.05)
    assert advice["Rotation"]["direction"] == "anticlockwise"
    assert advice["Vertical linearity"]["direction"] == "taller at the top, shorter at the bottom"
    assert advice["Side pincushion"]["direction"] == "middles of the sides inward"
    # Nothing else was done to it: that its barrel makes it narrower is for its size.
    assert advice.keys() == {
        "Horizontal centre",
        "Rotation",
        "Vertical linearity",
        "Side pincushion",
        "Horizontal size",
    }


def test_a_wanted_size_is_advised(bench: Bench) -> None:
    """With --size-mm the advice says how far the height is from it."""
    advice = answer("geometry", bench.photo, *MARKS, "--size-mm", "380x285")["advice"]
    size = next(item for item in advice if item["adjust"] == "Vertical size")
    assert (size["direction"], size["unit"]) == ("shorter", "mm")
    assert size["amount"] == pytest.approx(15.0, abs=1.0)


def test_convergence_is_that_of_the_tube(convergence: dict[str, Any]) -> None:
    """Offsets, parts and first advice are those of the simulated tube."""
    nodes = convergence["nodes"]
    for gun, truth in (("red", lambda u: (0.3, 0.0)), ("blue", lambda u: (0.0, 0.4 * u))):
        errors = [np.subtract(node[f"{gun}_mm"], truth(node["u"])) for node in nodes]
        assert float(np.quantile(np.hypot(*np.transpose(errors)), 0.95)) < 0.04
    # Blue is farthest at the outermost upright lines that are seen.
    assert convergence["overall_max_mm"] == pytest.approx(0.4 * 7 / 8, abs=0.04)
    assert convergence["parts"]["red"]["static"]["x"] == pytest.approx(0.3, abs=0.04)
    assert convergence["parts"]["blue"]["twist"]["y_u"] == pytest.approx(0.4, abs=0.04)
    first, second = convergence["advice"]
    assert (first["adjust"], first["direction"]) == ("Red static convergence, horizontal", "to the left")
    assert (second["adjust"], second["direction"]) == (
        "Blue convergence, twist of horizontal lines",
        "up at the right, down at the left",
    )
    for item, true in ((first, 0.3), (second, 0.4)):
        assert abs(item["amount"] - true) < 0.02
        # A camera's colours may overlap otherwise, and a JPEG of a megapixel hides that: by less than half of it.
        assert 0.02 < item["uncertainty"] < 0.5 * true


# --- Marks and lens ---------------------------------------------------------------------------------------------------

LENGTHS = ("width_mm", "height_mm", "rotation_deg", "keystone_h_percent")


def agree(one: dict[str, Any], other: dict[str, Any]) -> None:
    for name in LENGTHS:
        uncertain = np.hypot(one["uncertainty"][name], other["uncertainty"][name])
        assert abs(one[name] - other[name]) < 2.5 * uncertain


def test_marks_that_are_typed_give_the_same(bench: Bench, geometry: dict[str, Any]) -> None:
    """Typed places of the marks give the same figures, with a larger uncertainty."""
    places = ",".join(f"{value:.0f}" for place in geometry["photo"]["marks_px"] for value in place)
    typed = answer("geometry", bench.photo, "--marks", places, *MARKS, "--lens", bench.folder / "lens.json")
    agree(typed, geometry)
    # A point that was picked by hand is less sure than a mark that was found.
    assert typed["uncertainty"]["rotation_deg"] > 1.2 * geometry["uncertainty"]["rotation_deg"]


def test_marks_may_be_in_a_second_photograph(bench: Bench, geometry: dict[str, Any]) -> None:
    """Marks from a second photograph give the same figures."""
    dark = bench.without_marks((0, 1, 2, 3))
    lit = save(bench.folder / "lit.jpg", bench.of.marks_photograph(), quality=92)
    found = answer("geometry", dark, "--marks-photo", lit, *MARKS, "--lens", bench.folder / "lens.json")
    agree(found, geometry)


def test_a_camera_that_moved_between_two_photographs_is_told(bench: Bench) -> None:
    """The same view, twelve pixels further: its marks would put the picture elsewhere."""
    moved = bench.changed("moved", lambda image: np.roll(image, 12, axis=1))
    code, out, err = call("measure", "geometry", bench.photo, "--marks-photo", moved, *MARKS)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert "12 pixels" in err


def test_a_lens_of_another_size_is_told_of(bench: Bench, geometry: dict[str, Any]) -> None:
    """A lens file for another size of photograph is used with a warning."""
    large = bench.changed("large", lambda image: cv2.resize(image, None, fx=2, fy=2, interpolation=cv2.INTER_LINEAR))
    found = answer("geometry", large, *MARKS, "--lens", bench.folder / "lens.json")
    assert any("calibrated with" in words for words in found["warnings"])
    assert not any("calibrated with" in words for words in geometry["warnings"])


def test_without_a_lens_file_figures_are_less_sure(bench: Bench, geometry: dict[str, Any]) -> None:
    """Without a lens file the figures agree, and the uncertainty and a warning say so."""
    found = answer("geometry", bench.photo, *MARKS)
    agree(found, geometry)
    assert found["uncertainty"]["s_h_percent"] > 5 * geometry["uncertainty"]["s_h_percent"]
    assert any("no lens file" in words for words in found["warnings"])


def test_a_picture_behind_the_marks_is_larger(bench: Bench, geometry: dict[str, Any]) -> None:
    """By depth over distance, similar triangles: the simulated camera stands 1.2 m away."""
    lens = ("--lens", bench.folder / "lens.json")
    found = answer("geometry", bench.photo, *MARKS, *lens, "--depth-mm", 15)
    distance = float(np.linalg.norm(bench.of.camera.translation))
    assert found["width_mm"] / geometry["width_mm"] == pytest.approx(1 + 15 / distance, abs=2e-4)
    assert found["photo"]["depth_mm"] == 15
    code, _, err = call("measure", "geometry", bench.photo, "--no-marks", "--depth-mm", 15)
    assert (code, err.count("\n")) == (2, 1)


def test_a_curved_glass_is_taken_as_one(bench: Bench, geometry: dict[str, Any]) -> None:
    """A face of 2 m radius bulges by 17 mm in the middle: seen from 1.2 m away it looks as much larger there."""
    lens = ("--lens", bench.folder / "lens.json")
    found = answer("geometry", bench.photo, *MARKS, *lens, "--glass-radius-mm", 2000)
    assert geometry["width_mm"] - found["width_mm"] > 2
    assert found["photo"]["glass_radius_mm"] == 2000


@pytest.mark.parametrize("asked", [True, False])
def test_without_marks_only_what_perspective_cannot_imitate_is_told(asked: bool, bench: Bench) -> None:
    """Without marks only bends and overscan remain; everything else is null with a reason."""
    lens = ("--lens", bench.folder / "lens.json")
    photo = bench.photo if asked else bench.without_marks((0, 1, 2, 3))
    found = answer("geometry", photo, *lens, *(["--no-marks"] if asked else []))
    for name in ("centre_mm", "width_mm", "rotation_deg", "linearity_h_percent", "edge_sag_mm", "s_v_percent", "terms"):
        assert found[name] is None
        assert "without marks" in found["reasons"][name]
        assert found["uncertainty"][name] is None
    # As above, in percent of 300 mm.
    assert found["edge_sag_percent"]["left"] == pytest.approx(-3 * 7 / 8 / 3, abs=0.03)
    assert all(node["x_mm"] is None for node in found["nodes"])
    assert any("no corner marks" in words for words in found["warnings"]) != asked
    assert any("mirrored" in words for words in found["warnings"])
    if asked:
        code, out, _ = call("measure", "geometry", photo, *lens, "--no-marks")
        assert code == 0
        assert "Not available\n  width of the picture, height" in out


def test_convergence_without_marks_is_in_percent(bench: Bench) -> None:
    """Without marks convergence is given in percent of the height, and millimetres are null."""
    found = answer("convergence", bench.photo, "--no-marks")
    assert found["overall_max_mm"] is None
    assert "without marks" in found["reasons"]["overall_max_mm"]
    # 0.35 mm of 300 mm.
    assert found["overall_max_percent"] == pytest.approx(0.4 * 7 / 8 / 3, abs=0.015)
    assert found["nodes"][0]["red_mm"] is None
    assert found["nodes"][0]["red_percent"][0] == pytest.approx(0.1, abs=0.015)


def test_marks_without_their_size_are_asked_for(bench: Bench) -> None:
    """Without the size of the marks the command asks for --marks-mm or --no-marks."""
    code, out, err = call("measure", "geometry", bench.photo)
    assert (code, out) == (2, "")
    assert "--marks-mm" in err
    assert "--no-marks" in err
    assert err.count("\n") == 1


def test_both_are_measured_at_once(
    bench: Bench, geometry: dict[str, Any], convergence: dict[str, Any], tmp_path: Path
) -> None:
    """Each as its own command has it, with all its files in one folder."""
    lens = bench.folder / "lens.json"
    found = answer("raster", bench.photo, *MARKS, "--lens", lens, "--to", tmp_path / "files")
    files = {name: found[name].pop("files") for name in found}
    assert found == {
        name: {key: value for key, value in one.items() if key != "files"}
        for name, one in (("geometry", geometry), ("convergence", convergence))
    }
    named = {Path(path).name for some in files.values() for path in [some["picture"], some["page"], *some["plots"]]}
    assert {path.name for path in (tmp_path / "files").iterdir()} == named
    assert {"geometry.png", "geometry.html", "convergence.png", "convergence.html"} < named
    code, out, _ = call("measure", "raster", bench.photo, *MARKS)
    assert code == 0
    assert out.count(str(bench.photo)) == out.count("Notes") == 1


def test_a_folder_that_is_a_file_takes_nothing(bench: Bench, tmp_path: Path) -> None:
    """A file where the folder should be is one line, and stays as it was."""
    (tmp_path / "file").write_text("kept")
    code, out, err = call("measure", "raster", bench.photo, *MARKS, "--to", tmp_path / "file")
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert (tmp_path / "file").read_text() == "kept"


@pytest.mark.slow
def test_hidden_lines_may_be_counted(bench: Bench, geometry: dict[str, Any]) -> None:
    """Counting the hidden lines by hand gives the same width."""
    found = answer("geometry", bench.photo, *MARKS, "--lens", bench.folder / "lens.json", "--hidden", "1,1")
    assert found["width_mm"] == geometry["width_mm"]


# --- In words, pictures and pages -------------------------------------------------------------------------------------


def tables(text: str) -> list[list[str]]:
    """Heading, rule and rows of each table."""
    found = []
    for block in text.split("\n\n"):
        lines = block.split("\n")
        if len(lines) > 2 and re.fullmatch(r"[- ]+", lines[1]):
            found.append(lines)
    return found


@pytest.fixture(scope="module")
def said(bench: Bench) -> str:
    """The answer for people."""
    code, out, err = call("measure", "geometry", bench.photo, *MARKS)
    assert (code, err) == (0, "")
    return out


@pytest.mark.parametrize(("kind", "many"), [("geometry", 2), ("convergence", 3)])
def test_tables_line_up(kind: str, many: int, bench: Bench, said: str) -> None:
    """Tables fit 100 columns, their columns do not touch, and decimal points line up."""
    out = said if kind == "geometry" else call("measure", kind, bench.photo, *MARKS)[1]
    assert max(map(len, out.split("\n"))) <= 100
    found = tables(out)
    assert len(found) == many
    for _, rule, *rows in found:
        spans = [match.span() for match in re.finditer("-+", rule)]
        for row in rows:
            assert not "".join(row[a:b] for (_, a), (b, _) in pairwise(spans)).strip()
        for start, end in spans[1:-1]:
            points = {row[start:end].index(".") for row in rows if "." in row[start:end]}
            assert len(points) <= 1


@pytest.mark.parametrize(
    ("kind", "names"),
    quick_and_slow([("convergence", ("map", "middle"))], [("geometry", ("shape", "edges", "linearity"))]),
)
def test_picture_plots_and_page(kind: str, names: tuple[str, ...], bench: Bench, tmp_path: Path) -> None:
    """Picture, plots and page are all written, are valid, and the page loads nothing from elsewhere."""
    to = tmp_path / "a folder" / "Größe"
    wanted = ("--picture", to / "p.png", "--plots", to / "plots", "--page", to / "page.html")
    found = answer(kind, bench.photo, *MARKS, *wanted)
    plots = [to / "plots" / f"{kind}-{name}.{ending}" for name in names for ending in ("svg", "png")]
    assert found["files"] == {
        "picture": str(to / "p.png"),
        "plots": [str(path) for path in plots],
        "page": str(to / "page.html"),
    }
    assert sorted(path for path in to.rglob("*") if path.is_file()) == sorted([to / "p.png", to / "page.html", *plots])
    with Image.open(to / "p.png") as picture:
        picture.load()
        assert 1400 <= picture.width <= 2400
        codes = np.asarray(picture.convert("RGB")).astype(int)
    inks = {"geometry": [(255, 140, 20), (120, 200, 255)], "convergence": [(255, 96, 80), (110, 165, 255)]}[kind]
    for ink in inks:
        assert (np.abs(codes - ink).max(axis=-1) < 12).mean() > 0.0005
    for path in plots:
        if path.suffix == ".svg":
            assert ElementTree.fromstring(path.read_text(encoding="utf-8")).tag.endswith("}svg")
        else:
            with Image.open(path) as picture:
                picture.load()
    page = (to / "page.html").read_text(encoding="utf-8")
    root = check_alone(page)
    assert not root.all("script")
    images = [image.given["src"] for image in root.all("img")]
    assert len(images) == 1 + len(names)
    with Image.open(io.BytesIO(base64.b64decode(images[0].split(",")[1]))) as picture:
        picture.load()
    assert "A picture tube can kill" in page
    assert found["finding"].split(". ")[0] in page
    for item in found["advice"]:
        assert item["direction"] in page


def test_the_line_of_a_bend_is_in_every_answer(bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of each side the outermost line is behind the bezel, so the bend is that of the next one: line 1."""
    monkeypatch.chdir(tmp_path)
    code, out, _ = call("measure", "geometry", bench.photo, *MARKS, "--page", "page.html")
    assert code == 0
    assert re.search(r"^line of the bend, 0 is the outermost( +1){4} +-$", out, re.MULTILINE)
    page = Path("page.html").read_text(encoding="utf-8")
    assert re.search(r"line of the bend, 0 is the outermost</th><td[^>]*>\W*1\W*</td>", page)
    found = answer("geometry", bench.photo, *MARKS)
    assert found["edge_line"] == dict.fromkeys(("left", "right", "top", "bottom"), 1)
    Path("geometry.json").write_text(json.dumps(found), encoding="utf-8")
    for words in (
        ("record", "new", "set.json", "--set", "a set"),
        ("record", "add", "set.json", "as-found", "geometry.json"),
        ("report", "set.json", "--to", "report.html"),
    ):
        assert call(*words).code == 0
    shown = call("record", "show", "set.json", "--all")
    assert re.search(r"line of the bend at the left, 0 is the outermost +1$", shown.out, re.MULTILINE)
    assert "line of the bend at the left, 0 is the outermost" in Path("report.html").read_text(encoding="utf-8")


@pytest.mark.slow
def test_the_same_photograph_gives_the_same_files(bench: Bench, tmp_path: Path) -> None:
    """Two runs on one photograph give the same page, byte for byte."""
    for name in ("one", "two"):
        code, _, _ = call("measure", "geometry", bench.photo, *MARKS, "--page", tmp_path / f"{name}.html")
        assert code == 0
    assert (tmp_path / "one.html").read_bytes() == (tmp_path / "two.html").read_bytes()


# --- What is refused --------------------------------------------------------------------------------------------------


def turned(times: int) -> Callable[[Codes], Codes]:
    return lambda image: np.rot90(image, times)


def photographs(name: str, bench: Bench) -> Path:
    """A photograph that is not right, by a name."""
    if name == "text":
        path = bench.folder / "text.jpg"
        path.write_text("no photograph\n" * 100)
    elif name == "empty":
        path = bench.folder / "empty.jpg"
        path.write_bytes(b"")
    elif name == "none":
        path = bench.folder / "none.jpg"
    elif name == "huge":
        data = bytearray(bench.photo.read_bytes())
        frame = data.index(b"\xff\xc0")
        data[frame + 5 : frame + 9] = b"\xea\x60\xea\x60"
        path = bench.folder / "huge.jpg"
        path.write_bytes(data)
    elif name == "cut":
        path = bench.folder / "cut.jpg"
        path.write_bytes(bench.photo.read_bytes()[:50_000])
    elif name == "covered":
        path = bench.without_marks((2,))
    elif name == "dark":
        path = bench.without_marks((0, 1, 2, 3))
    elif name == "right":
        path = bench.photo
    else:
        changes: dict[str, Callable[[Codes], Codes]] = {
            "blurred": lambda image: cv2.GaussianBlur(image, (0, 0), 12),
            "left": turned(1),
            "upside down": turned(2),
            "clockwise": turned(3),
            "mirrored": lambda image: image[:, ::-1],
            "less": lambda image: cv2.resize(image, None, fx=0.8, fy=0.8),
            "grey": lambda image: np.repeat(image[..., 1:2], 3, axis=2),
            "black": lambda image: np.zeros_like(image),
        }
        path = bench.changed(name, changes[name])
    return path


REFUSED: list[Any] = [
    ("text", "--marks-mm 460x360", "JPEG, PNG, TIFF, HEIC or DNG is expected"),
    ("empty", "--marks-mm 460x360", "the file is empty"),
    ("none", "--marks-mm 460x360", "cannot be read"),
    ("huge", "--marks-mm 460x360", "60000x60000 pixels"),
    ("cut", "--marks-mm 460x360", "damaged"),
    ("covered", "--marks-mm 460x360", "the bottom right mark is not seen"),
    ("dark", "--marks-mm 460x360", "no corner marks are seen"),
    ("blurred", "--marks-mm 460x360", "blurred"),
    ("black", "--no-marks", "too dark"),
    ("left", "--marks-mm 460x360", "turn it by 90 degrees to the right"),
    ("upside down", "--marks-mm 460x360", "turn it by 180"),
    ("mirrored", "--marks-mm 460x360", "mirrored"),
    ("right", "--marks-mm 460x360 --cells 12x9", "--cells|cells are seen"),
    ("right", "--marks-mm 360x460", "changed about"),
    ("right", "--marks-mm 460x360 --hidden 5,1", "hidden in all"),
    ("right", "--marks 10,10,5000,10,5000,900,10,900 --marks-mm 460x360", "outside the photograph"),
    pytest.param("covered", "", "the bottom right mark is not seen", marks=pytest.mark.slow),
    pytest.param("blurred", "--no-marks", "blurred: no grid|not sharp", marks=pytest.mark.slow),
    pytest.param("clockwise", "--marks-mm 460x360", "turn it by 90 degrees to the left", marks=pytest.mark.slow),
    pytest.param("left", "--no-marks", "columns of cells|rows of cells", marks=pytest.mark.slow),
    pytest.param("right", "--marks-mm 300x235", "30 mm is printed", marks=pytest.mark.slow),
    pytest.param("right", "--marks-mm 460x360 --glass-radius-mm 100", "radius above", marks=pytest.mark.slow),
    pytest.param("dark", "--glass-radius-mm 1000", "without marks", marks=pytest.mark.slow),
    pytest.param("right", "--marks-mm 460x360 --format 480i --aspect 16:9", "16 x 9 are", marks=pytest.mark.slow),
    # Told before the photograph is read.
    ("right", "--marks-mm 460x360 --format 481i", "481i"),
    ("right", "--marks-mm 460x360 --format 480i,576i", "one format"),
    ("right", "--marks-mm 460x360 --cells 0x0", "cells"),
    ("right", "--marks-mm 460x360 --cells 2x2", "cells"),
    ("right", "--marks-mm 460x360 --cells many", "--cells"),
    ("right", "--marks-mm 460x360 --pattern bars", "no grid"),
    ("right", "--marks-mm 460x360 --pattern crosshatch-inverse", "dark lines"),
    ("right", "--marks-mm 460x360 --pattern nothing", "nothing"),
    ("right", "--marks-mm 460", "--marks-mm"),
    ("right", "--marks-mm 4x3", "--marks-mm"),
    ("right", "--marks 1,2,3 --marks-mm 460x360", "eight numbers"),
    ("right", "--marks 10,10,900,10,900,700,10,700", "--marks-mm"),
    ("right", "--marks-photo nowhere.jpg", "--marks-mm"),
    ("right", "--no-marks --marks-mm 460x360", "one or the other"),
    ("right", "--no-marks --marks-photo lit.jpg", "one or the other"),
    ("right", "--marks 10,10,900,10,900,700,10,700 --marks-photo lit.jpg --marks-mm 460x360", "not both"),
    ("right", "--marks-photo nowhere.jpg --marks-mm 460x360", "cannot be read"),
    ("right", "--marks-photo less.png --marks-mm 460x360", "from one tripod"),
    ("right", "--lens text.jpg --marks-mm 460x360", "not a lens file"),
    ("right", "--lens nowhere.json --marks-mm 460x360", "cannot be read"),
    ("right", "--glass-radius-mm 0 --marks-mm 460x360", "--glass-radius-mm"),
    ("right", "--glass-radius-mm nan --marks-mm 460x360", "--glass-radius-mm"),
    ("right", "--glass-radius-mm inf --marks-mm 460x360", "--glass-radius-mm"),
    ("right", "--glass-radius-mm 1000 --no-marks", "without marks"),
    ("right", "--size-mm 400 --marks-mm 460x360", "--size-mm"),
    ("right", "--size-mm 400x1 --marks-mm 460x360", "--size-mm"),
    ("right", "--size-mm 400x300 --no-marks", "without marks"),
    ("dark", "--size-mm 400x300", "without marks"),
    ("right", "--hidden left --marks-mm 460x360", "--hidden"),
]


@pytest.mark.parametrize(("name", "options", "said"), REFUSED)
def test_what_cannot_be_measured_is_one_line_and_writes_nothing(
    name: str, options: str, said: str, bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A photograph that cannot be measured is one line, and no file is left."""
    photo = photographs(name, bench)
    photographs("text", bench)
    photographs("less", bench)
    monkeypatch.chdir(bench.folder)
    to = tmp_path / "out"
    wanted = ("--picture", to / "p.png", "--plots", to / "plots", "--page", to / "page.html")
    code, out, err = call("measure", "geometry", photo, *options.split(), *wanted)
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert re.search(said, err)
    assert not to.exists()


def test_a_grey_photograph_tells_no_convergence(bench: Bench, geometry: dict[str, Any]) -> None:
    """A grey photograph is refused for convergence, and measured for geometry."""
    path = photographs("grey", bench)
    code, out, err = call("measure", "convergence", path, *MARKS)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert "grey" in err
    # Its geometry is that of green.
    agree(answer("geometry", path, *MARKS), geometry)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--picture", "out.jpg"), "ends in .png"),
        (("--page", "out.htm"), "ends in .html"),
        (("--picture", "folder.png"), "is a folder"),
        (("--picture", "photo.png"), "would be lost"),
        (("--plots", "photo.png"), "is no folder"),
        (("--picture", "photo.png/out.png"), "photo.png/out.png"),
        (("--page", "x" * 300 + ".html"), "x"),
    ],
)
def test_files_that_cannot_be_written_are_one_line(
    words: tuple[str, str], said: str, bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A target that cannot be written is one line, and nothing is changed."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "folder.png").mkdir()
    save(tmp_path / "photo.png", bench.image)
    before = sorted(tmp_path.iterdir())
    code, out, err = call("measure", "geometry", "photo.png", *MARKS, *words)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert said in err
    assert sorted(tmp_path.iterdir()) == before


def test_what_stood_there_stays_where_measuring_fails(bench: Bench, tmp_path: Path) -> None:
    """A failed measurement leaves the earlier file as it was."""
    (tmp_path / "p.png").write_text("before")
    code, _, _ = call("measure", "geometry", photographs("covered", bench), *MARKS, "--picture", tmp_path / "p.png")
    assert code == 2
    assert (tmp_path / "p.png").read_text() == "before"


WORDS: dict[str, tuple[str, ...]] = {
    "--format": ("480i", "1080i59.94", "64x48@60", "2", "480i,576i"),
    "--aspect": ("4:3", "16:9", "0", "1:9"),
    "--pattern": ("crosshatch", "dots", "bars", "crosshatch-g", "x.toml", ""),
    "--cells": ("16x12", "1x1", "2000x1", "-1x2", "nan"),
    "--marks-mm": ("460x360", "460", "0x0", "1e9x1", "inf"),
    "--marks": ("1,1,700,1,700,500,1,500", "1,1,1,1,1,1,1,1", "a", "1," * 500),
    "--marks-photo": ("noise.png", "x.png", "."),
    "--lens": ("lens.json", "noise.png", "."),
    "--glass-radius-mm": ("1000", "-1", "nan", "inf", "1e-300"),
    "--depth-mm": ("12", "-1", "nan", "inf"),
    "--hidden": ("0,0", "1", "-1,0", "999,999"),
    "--size-mm": ("400x300", "0x0", "x"),
    "--picture": ("out.png", "noise.png", ".", "out.jpg", "noise.png/out.png"),
    "--plots": ("plots", "noise.png"),
    "--page": ("out.html", ".", "x.htm"),
    "--to": ("plots", "noise.png"),
}


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(
    kind=st.sampled_from(["geometry", "convergence", "raster"]),
    options=st.lists(
        st.sampled_from(sorted(WORDS)).flatmap(lambda name: st.tuples(st.just(name), st.sampled_from(WORDS[name]))),
        max_size=4,
    ),
    flags=st.lists(st.sampled_from(["--no-marks", "--json", "--all"]), max_size=2),
)
def test_no_command_line_does_anything_unforeseen(
    kind: str, options: list[tuple[str, str]], flags: list[str], bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A photograph of nothing and any words are one line and leave nothing behind."""
    folder = bench.folder / "play"
    if not folder.exists():
        folder.mkdir()
        noise = np.random.default_rng(3).integers(0, 255, (520, 720, 3), np.uint8)
        save(folder / "noise.png", noise)
        save_lens(lens_of(bench.of.camera), folder / "lens.json")
    monkeypatch.chdir(folder)
    code, out, err = call("measure", kind, "noise.png", *(word for pair in options for word in pair), *flags)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert sorted(path.name for path in folder.iterdir()) == ["lens.json", "noise.png"]


@pytest.mark.parametrize("kind", ["geometry", "convergence"])
def test_help_fits_a_terminal(kind: str) -> None:
    """The help fits 80 columns and names the marks' size."""
    code, out, err = call("measure", kind, "--help")
    assert (code, err) == (0, "")
    assert max(map(len, out.split("\n"))) <= 80
    assert "--marks-mm WxH" in out


# --- Larger ones ------------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_dots_are_measured_like_a_grid(tmp_path: Path) -> None:
    """A photograph of dots gives the tube's width and convergence too."""
    one = plain_set(3.0, format_id="480i", pattern="dots", red=terms({"1": 0.3}))
    path = save(tmp_path / "dots.jpg", one.photograph(), quality=92)
    save_lens(lens_of(one.camera), tmp_path / "lens.json")
    options = (*MARKS, "--lens", tmp_path / "lens.json", "--pattern", "dots")
    found = answer("geometry", path, *options, "--picture", tmp_path / "p.png")
    assert found["width_mm"] == pytest.approx(400, abs=0.15)
    assert found["reasons"].keys() <= {f"overscan_percent.{side}" for side in ("left", "right", "top", "bottom")}
    red = answer("convergence", path, *options)["parts"]["red"]["static"]["x"]
    assert red == pytest.approx(0.3, abs=0.04)


@pytest.mark.slow
def test_from_the_board_to_the_figures(tmp_path: Path) -> None:
    """A lens that bends by 2 % is calibrated from photographs of the board, and the picture measured through its file.

    SIMULATION: the camera is OpenCV's, the tube's picture is 400 x 300 mm with sides bent by 3 mm.
    """
    one = plain_set(3.0, deflection=deflection(400, 300, x={"uv2": -3.0}))
    one = replace(one, camera=distorted(one.camera, 2.0))
    board = Board()
    boards = []
    for number, pose in enumerate(board_cameras(one.camera, board, 10, seed=5)):
        boards.append(save(tmp_path / f"board-{number}.jpg", board_photograph(pose, board, seed=number)))
    code, _, err = call("measure", "lens", *boards, "--to", tmp_path / "lens.json")
    assert (code, err) == (0, "")
    photo = save(tmp_path / "photo.jpg", one.photograph(), quality=92)
    known = ("--marks-mm", "460.0x360.0", "--depth-mm", "0", "--glass-radius-mm", "flat")
    found = answer("geometry", photo, *known, "--lens", tmp_path / "lens.json")
    bare = answer("geometry", photo, *known)
    for side in ("left", "right"):
        # The outermost line seen lies at u = 7/8: -3 u v v, a barrel, so outward.
        bend, uncertainty = found["edge_sag_mm"][side], found["uncertainty"]["edge_sag_mm"][side]
        assert abs(bend + 3.0 * (7 / 8)) < max(2 * uncertainty, 0.05)
        assert uncertainty < 0.1
    assert abs(found["s_h_percent"]) < max(2 * found["uncertainty"]["s_h_percent"], 0.1)
    assert abs(bare["edge_sag_mm"]["top"]) > 5 * abs(found["edge_sag_mm"]["top"])


@pytest.mark.slow
def test_24_megapixels_stay_under_900_megabytes(tmp_path: Path, most_megabytes: Callable[..., int]) -> None:
    """A large photograph with page and picture needs less than 900 MB."""
    path = save(tmp_path / "large.jpg", plain_set(24.0, format_id="480i").photograph())
    for kind in ("geometry", "convergence"):
        words = [kind, str(path), *MARKS, "--page", str(tmp_path / "page.html"), "--picture", str(tmp_path / "p.png")]
        code = "import sys; from trueraster.cli import run; assert run(['measure', *sys.argv[1:]]) == 0"
        assert most_megabytes(code, *words) < 900
