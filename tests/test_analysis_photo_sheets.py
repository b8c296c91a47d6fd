"""The printed sheets: true to scale, found by the detector of OpenCV, and put in place whole.

Pages are rasterised by PDFium (and Chromium, where it is installed), which did not write them.
"""

from __future__ import annotations

import itertools
import json
import shutil
import subprocess
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import cv2
import numpy as np
import pypdfium2
import pytest
from numpy.typing import NDArray

from analysis.photo.sheets import PAPERS, SHEETS, board_place, mark_places, write_sheet
from analysis.photo.targets import MARK_MM, board, mark_dictionary
from trueraster.cli import run

DOTS = 254
"""Dots to an inch of the rasterised pages: 10 to a millimetre."""


Pages = dict[tuple[str, str], NDArray[np.uint8]]


def page(path: Path) -> NDArray[np.uint8]:
    """The first page of a PDF file in grey, `DOTS` to the inch."""
    document = pypdfium2.PdfDocument(path)
    try:
        image = np.array(document[0].render(scale=DOTS / 72, grayscale=True).to_numpy())
    finally:
        document.close()
    return image.reshape(image.shape[:2])


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Pages:
    """Every sheet on every paper, rasterised, by name and paper."""
    found = {}
    for name, paper in itertools.product(SHEETS, PAPERS):
        path = tmp_path_factory.mktemp("page") / "page.pdf"
        write_sheet(SHEETS[name](paper), path)
        found[name, paper] = page(path)
    return found


def millimetres(pixels: NDArray[Any], paper: str, image: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Pixel centres at whole numbers to mm from the page's corner."""
    width, height = PAPERS[paper]
    return (pixels + 0.5) / (image.shape[1], image.shape[0]) * (width, height)


@pytest.fixture(params=list(PAPERS))
def paper(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def test_marks_are_found_where_they_are_said_to_be(paper: str, pages: Pages) -> None:
    """OpenCV's own detector finds four marks, upright, in their order, within 0.1 mm."""
    image = pages["marks", paper]
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    corners, ids, _ = cv2.aruco.ArucoDetector(mark_dictionary(), parameters).detectMarkers(image)
    assert sorted(ids.ravel()) == [0, 1, 2, 3]
    places = mark_places(paper)
    for number, found in zip(ids.ravel(), corners, strict=True):
        left, top = places[int(number)]
        wanted = [(left, top), (left + MARK_MM, top), (left + MARK_MM, top + MARK_MM), (left, top + MARK_MM)]
        assert np.abs(millimetres(found[0], paper, image) - wanted).max() < 0.1
    # As they lie on the page so on the screen: top left, top right, bottom right, bottom left.
    (x0, y0), (x1, y1), (x2, y2), (x3, y3) = places
    assert x0 == x3 < x1 == x2
    assert y0 == y1 < y2 == y3


def test_the_board_is_found_where_it_is_said_to_be(paper: str, pages: Pages) -> None:
    """OpenCV's own detector finds all 54 inner corners within 0.1 mm, and no mark of the other sheet."""
    image = pages["board", paper]
    corners, ids, _, _ = cv2.aruco.CharucoDetector(board()).detectBoard(image)
    # (7 - 1) x (10 - 1).
    assert list(ids.ravel()) == list(range(54))
    wanted = np.array(board().getChessboardCorners())[:, :2] + board_place(paper)
    assert np.abs(millimetres(corners.reshape(-1, 2), paper, image) - wanted).max() < 0.1
    _, marks, _ = cv2.aruco.ArucoDetector(mark_dictionary()).detectMarkers(image)
    assert marks is None


@pytest.mark.parametrize("name", list(SHEETS))
def test_the_rulers_are_100_mm(name: str, paper: str, pages: Pages) -> None:
    """The level ruler's first and last tick, and the upright one's, are 100 mm apart in the rasterised page."""
    sheet = SHEETS[name](paper)
    image = pages[name, paper]
    assert image.shape == pytest.approx([side * DOTS / 25.4 for side in (sheet.height, sheet.width)], abs=1)
    level = [line for line in sheet.lines if line.y0 == line.y1 and abs(line.x1 - line.x0 - 100) < 1e-9]
    upright = [line for line in sheet.lines if line.x0 == line.x1 and abs(line.y1 - line.y0 - 100) < 1e-9]
    assert len(level) == len(upright) == 1
    dots = DOTS / 25.4
    for line, turned in ((level[0], False), (upright[0], True)):
        seen = 255.0 - (image.T if turned else image)
        start, across = (line.y0, line.x0) if turned else (line.x0, line.y0)
        # Only the ticks of the ends and the middle reach 4 to 4.8 mm off the line.
        band = seen[round((across - 4.8) * dots) : round((across - 4.0) * dots)].mean(axis=0)
        dark = np.flatnonzero(band > 60)
        dark = dark[(dark > (start - 2) * dots) & (dark < (start + 102) * dots)]
        ticks = [group.mean() for group in np.split(dark, np.flatnonzero(np.diff(dark) > 3) + 1)]
        assert len(ticks) == 3
        assert (ticks[2] - ticks[0]) / dots == pytest.approx(100, abs=0.1)
        assert (ticks[1] - ticks[0]) / dots == pytest.approx(50, abs=0.1)


@pytest.mark.parametrize("name", list(SHEETS))
def test_nothing_lies_outside_what_printers_reach(name: str, paper: str, pages: Pages) -> None:
    """A margin of 6.35 mm (a quarter of an inch; common practice, no source) stays white all around."""
    image = pages[name, paper].copy()
    margin = round(6.35 * DOTS / 25.4)
    assert image[margin:-margin, margin:-margin].min() == 0
    image[margin:-margin, margin:-margin] = 255
    assert image.min() == 255


def test_an_svg_has_the_size_of_its_paper(tmp_path: Path) -> None:
    """Its root says A4 in points of 1/72 inch (CSS), and its user units are the same points."""
    write_sheet(SHEETS["marks"]("a4"), tmp_path / "marks.svg")
    root = ElementTree.parse(tmp_path / "marks.svg").getroot()
    sides = [210 / 25.4 * 72, 297 / 25.4 * 72]
    assert [float(root.attrib[name].removesuffix("pt")) for name in ("width", "height")] == pytest.approx(sides)
    assert [float(v) for v in root.attrib["viewBox"].split()] == pytest.approx([0, 0, *sides])


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("chromium") is None, reason="no browser is installed")
def test_a_browser_shows_the_svg_to_scale(tmp_path: Path) -> None:
    """In Chromium at 96 units to the inch (CSS), three pixels to the unit, the marks lie in their places."""
    write_sheet(SHEETS["marks"]("a4"), tmp_path / "marks.svg")
    subprocess.run(
        [
            *("chromium", "--headless", "--no-sandbox", "--hide-scrollbars", "--force-device-scale-factor=3"),
            *(f"--user-data-dir={tmp_path / 'browser'}", f"--screenshot={tmp_path / 'seen.png'}"),
            *("--window-size=800,1130", (tmp_path / "marks.svg").as_uri()),
        ],
        check=True,
        capture_output=True,
        timeout=120,
    )
    image = cv2.imread(str(tmp_path / "seen.png"), cv2.IMREAD_GRAYSCALE)
    assert image is not None
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    corners, ids, _ = cv2.aruco.ArucoDetector(mark_dictionary(), parameters).detectMarkers(image)
    assert sorted(ids.ravel()) == [0, 1, 2, 3]
    for number, found in zip(ids.ravel(), corners, strict=True):
        wanted = np.array(mark_places("a4")[int(number)]) + MARK_MM / 2
        assert np.abs((found[0].mean(axis=0) + 0.5) * 25.4 / (96 * 3) - wanted).max() < 0.1


def test_the_command_writes_what_it_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """By default outputs/NAME.pdf; with --json one object; the same page the same bytes."""
    monkeypatch.chdir(tmp_path)
    assert run(["sheet", "marks"]) == 0
    assert capsys.readouterr().out == "outputs/marks.pdf\n"
    first = (tmp_path / "outputs" / "marks.pdf").read_bytes()
    assert first.startswith(b"%PDF-")
    assert run(["sheet", "board", "--paper", "letter", "--to", "my board.svg", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["sheet"]
    # 8.5 x 11 inches.
    assert told["size_mm"] == {"width": 215.9, "height": 279.4}
    assert (tmp_path / told["path"]).stat().st_size > 10_000
    assert run(["sheet", "marks"]) == 0
    assert (tmp_path / "outputs" / "marks.pdf").read_bytes() == first
    assert sorted(p.name for p in tmp_path.rglob("*")) == ["marks.pdf", "my board.svg", "outputs"]


@pytest.mark.parametrize(
    ("line", "word"),
    [
        (["sheet", "nothing"], "marks, board"),
        (["sheet"], "sheet --help"),
        (["sheet", "marks", "--paper", "a3"], "a4, letter"),
        (["sheet", "marks", "--to", "marks.png"], ".pdf"),
        (["sheet", "marks", "--to", ""], ".pdf"),
        (["sheet", "marks", "--to", "folder.pdf"], "folder.pdf"),
        (["sheet", "marks", "--to", "file/marks.pdf"], "file"),
        (["sheet", "marks", "--to", "x" * 300 + ".pdf"], "too long"),
    ],
)
def test_mistakes_are_one_line(
    line: list[str],
    word: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Exit code 2, one line that names what was wrong, and nothing written."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "folder.pdf").mkdir()
    (tmp_path / "file").write_text("kept")
    before = sorted(tmp_path.rglob("*"))
    assert run(line) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert word in said.err
    assert sorted(tmp_path.rglob("*")) == before
