"""Files of readings: what is understood, and that each mistake is one line that names row and column."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.meter.readings.read import read_readings
from analysis.meter.readings.types import Field
from render.errors import FileError
from trueraster.cli import run

XYY = "field,level_percent,x,y,luminance"
XYZ = "field,level_percent,X,Y,Z"
GOOD = f"{XYY}\ngrey,0,0.31,0.33,0.05\ngrey,100,0.3127,0.3290,100\nred,100,0.63,0.34,21.2\nblue,100,0.155,0.07,8.7\n"
CGATS = """CGATS.17
ORIGINATOR "Harbour Lane Repairs"
# a comment
NUMBER_OF_FIELDS 8
BEGIN_DATA_FORMAT
SAMPLE_ID SAMPLE_NAME RGB_R RGB_G RGB_B XYZ_X XYZ_Y XYZ_Z
END_DATA_FORMAT
NUMBER_OF_SETS 3
BEGIN_DATA
1 "white field" 255 255 255 95.05 100 108.9
2 red 255 0 0 39.3 21.2 1.9
3 grey 51 51 51 2.0 2.1 2.3
END_DATA
"""


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "readings.csv"


def mistake(file: Path, text: str | bytes) -> str:
    """What is said of a text that cannot be meant."""
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(FileError) as caught:
        read_readings(file)
    words = str(caught.value)
    assert words.startswith(f"{file}: ")
    assert "\n" not in words
    return words.removeprefix(f"{file}: ")


def test_csv_with_chromaticity(file: Path) -> None:
    """X = Y x / y and Z = Y (1 - x - y) / y (CIE 15), by hand."""
    file.write_text(GOOD)
    found = read_readings(file)
    assert [(item.field, item.level_percent, item.row) for item in found.items] == [
        (Field.GREY, 0, 2),
        (Field.GREY, 100, 3),
        (Field.RED, 100, 4),
        (Field.BLUE, 100, 5),
    ]
    assert found.items[1].xyz == pytest.approx((100 * 0.3127 / 0.329, 100, 100 * 0.3583 / 0.329))
    assert found.items[1].xy == pytest.approx((0.3127, 0.329))
    assert found.items[2].luminance == 21.2
    assert found.of(Field.BLUE) == (found.items[3],)


@pytest.mark.parametrize("coding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_csv_as_spreadsheets_write_it(file: Path, coding: str, separator: str, ending: str) -> None:
    """Any order of columns, other columns, quotes, comments, blank lines; a decimal comma where it can be told."""
    decimal = "." if separator == "," else ","
    rows = [
        ["note", "Luminance", "y", "x", "Level", "Colour"],
        ["", "", "", "", "", ""],
        ['"caf\xe9"', f"100{decimal}5", f"0{decimal}329", f"0{decimal}3127", "100 %", "White"],
        ["late", "0", "", "", "0", "GRAY"],
    ]
    lines = ["# of the bench", *(separator.join(row) for row in rows), "", "# end"]
    file.write_bytes(ending.join(lines).encode(coding))
    found = read_readings(file)
    assert [(item.field, item.level_percent) for item in found.items] == [(Field.GREY, 100), (Field.GREY, 0)]
    assert found.items[0].xyz == pytest.approx((100.5 * 0.3127 / 0.329, 100.5, 100.5 * 0.3583 / 0.329))
    assert found.items[0].row == 4
    assert found.items[1].xyz == (0, 0, 0)
    assert found.items[1].xy is None
    assert found.remarks == ("the file says: of the bench", "left out: column note")


def test_csv_with_amounts_of_light(file: Path) -> None:
    """What a meter reads a little below nothing is nothing."""
    file.write_text(f"{XYZ}\ngreen,75,10,20,3\ngrey,0,-0.002,0,0.001\ngrey,0,-0.002,0.01,0.012\n")
    found = read_readings(file)
    assert [item.xyz for item in found.items] == [(10, 20, 3), (0, 0, 0), (0, 0.01, 0.012)]


def test_luminance_may_be_called_y(file: Path) -> None:
    """A column Y beside x and y is read as the luminance."""
    file.write_text("field,level_percent,x,y,Y\ngreen,75,0.3,0.6,20\n")
    assert read_readings(file).items[0].xyz == pytest.approx((10, 20, 10 / 3))


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("grex,100,.3,.3,5", "column field: got 'grex', one of grey, red,"),
        (",100,.3,.3,5", "column field: got '', one of"),
        ("grey,,.3,.3,5", "column level_percent: is empty"),
        ("grey,110,.3,.3,5", "column level_percent: got '110', a level from 0 to 109"),
        ("grey,-1,.3,.3,5", "column level_percent: got '-1'"),
        ("grey,10,.8,.3,5", "column x: got 0.8 with y 0.3; x and y together are at most 1"),
        ("grey,10,1.3,.3,5", "column x: got 1.3, a chromaticity from 0 to 1"),
        ("grey,10,.3,0,5", "column y: got 0, which no light has"),
        ("grey,10,,.3,5", "column x: is empty"),
        ("grey,10,.3,.3,", "column luminance: is empty, a figure in cd/m2"),
        ("grey,10,.3,.3,-5", "column luminance: got -5, a figure from 0 to 100000"),
        ("grey,10,.3,.3,nan", "column luminance: got 'nan'"),
        ("grey,10,.3,.3,1e9", "column luminance: got 1e+09"),
        ("grey,10,.3,.3,1e99999", "column luminance: got '1e99999'"),
        ("grey,10,.3,.3,5 cd/m2", "column luminance: got '5 cd/m2'"),
        ("grey,10,.3,.3,٣", "column luminance: got"),
        ("grey,10,.3,.3", "column luminance: is missing; 4 of 5 columns"),
        ("grey,10,.3,.3,5,6", "column 6: is one too many for the header; a decimal comma needs semicolons"),
        ('"grey,10,.3,.3,5', "its quotes do not match"),
    ],
)
def test_mistakes_of_a_row(file: Path, row: str, said: str) -> None:
    """A mistake in a row is one line that names the row, the column and the value."""
    assert mistake(file, f"{XYY}\ngrey,100,.3,.3,5\n\n{row}\n").startswith(
        f"row 4, {said}" if "column" in said else f"row 4: {said}"
    )


def test_light_that_does_not_exist(file: Path) -> None:
    """X and Z without a matching Y are refused, since no light has them."""
    assert mistake(file, f"{XYZ}\nred,100,20,0,1\n").startswith("row 2, column Y: is nothing while X")
    assert mistake(file, f"{XYZ}\nred,100,2000,1,1\n").startswith("row 2, column Y: is far too little")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "is empty; readings as CSV or CGATS text"),
        (" \n", "is empty"),
        (b"\x89PNG\r\n\0\0", "is no text"),
        (b"0" * ((4 << 20) + 1), "is larger than 4 MB; no file of readings"),
        ("# nothing\n", "row 1: holds no header"),
        (f"{XYY}\n", "row 2: no reading follows the header"),
        ("grey,100,.3,.3,5\n", "row 1, column field: is missing; the header should be"),
        ("field,x,y,luminance\n", "row 1, column level_percent: is missing"),
        ("field,level,x,y,z\n", "row 1, column luminance: is missing"),
        ("field,level,X,Y\n", "row 1, column Z: is missing"),
        ("field,level,x,luminance\n", "row 1, column y: is missing"),
        ("field,level,x,x,y,luminance\n", "row 1, column x: is in the header twice"),
        ("field,level" + ",a" * 300, "row 1: 302 columns are too many"),
        (f"{XYY}\ngrey,0.1,.3,.3,1\ngrey,1,.3,.3,100\n", "row 3, column level_percent: the highest level of all is 1;"),
        (f"{XYY}\n" + "grey,50,.3,.3,1\n" * 10_001, "row 10002: more than 10000 readings"),
    ],
)
def test_mistakes_of_a_whole_file(file: Path, text: str | bytes, said: str) -> None:
    """A file that is empty, too large, no text, or without the needed header is refused with the reason."""
    assert mistake(file, text).startswith(said)


def test_no_file(tmp_path: Path) -> None:
    """A folder or a missing file is reported as not readable."""
    for path, words in ((tmp_path, "is not a file (a folder)"), (tmp_path / "none.csv", "cannot be read (No such")):
        with pytest.raises(FileError, match=re.escape(f"{path}: {words}")):
            read_readings(path)


def test_cgats_by_device_values(file: Path) -> None:
    """8-bit values become percent: 51 of 255 is 20 %."""
    file.write_text(CGATS)
    found = read_readings(file)
    assert [(item.field, item.level_percent, item.row) for item in found.items] == [
        (Field.GREY, 100, 10),
        (Field.RED, 100, 11),
        (Field.GREY, pytest.approx(20), 12),
    ]
    assert found.items[1].xyz == (39.3, 21.2, 1.9)
    assert any("0 to 255" in words for words in found.remarks)


def test_cgats_in_percent_and_mixed_colours(file: Path) -> None:
    """Device values up to 100 are read as percent, and rows of mixed colours are left out with a remark."""
    file.write_text(CGATS.replace("255", "100").replace("3 grey 51 51 51", "3 skin 50 40 30"))
    found = read_readings(file)
    assert [(item.field, item.level_percent) for item in found.items] == [(Field.GREY, 100), (Field.RED, 100)]
    assert "left out: 1 row, mixed colours" in found.remarks


def test_cgats_by_names(file: Path) -> None:
    """Names tell field and level where no device values do; further tables are not read."""
    file.write_text(
        "ISO28178\nBEGIN_DATA_FORMAT\nSAMPLE_NAME XYY_X\nXYY_Y XYY_CAPY\nEND_DATA_FORMAT\nBEGIN_DATA\n"
        '"Grey 50 %"\t.31\t.33\t20\nblack 0 0 0\nyellow_75 .42 .5 60\n"a chart" .3 .3 1\nEND_DATA\n'
        "BEGIN_DATA\n1\nEND_DATA\n"
    )
    found = read_readings(file)
    assert [(item.field, item.level_percent) for item in found.items] == [
        (Field.GREY, 50),
        (Field.GREY, 0),
        (Field.YELLOW, 75),
    ]
    assert found.items[0].xyz[1] == 20
    assert found.remarks[-1] == "left out: 1 row, what SAMPLE_NAME calls other than a field"


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("95.05 100 108.9", "95.05 100", "row 10, column XYZ_Z: is missing; 7 of 8 columns"),
        ("95.05 100 108.9", "95.05 100 108.9 1", "row 10, column 9: is one too many"),
        ("21.2", "lots", "row 11, column XYZ_Y: got 'lots'"),
        ("2 red 255", "2 red 2550", "row 11, column RGB_R: got 2550, a device value from 0 to 1023"),
        ("2 red 255", "2 red -1", "row 11, column RGB_R: got -1"),
        ('"white field"', '"white field', "row 10: its quotes do not match"),
        ("XYZ_Z\n", "LAB_L\n", "row 6, column XYZ_Z: is missing"),
        ("SAMPLE_ID SAMPLE_NAME RGB_R RGB_G RGB_B", "A B C D E", "row 5, column RGB_R: is missing"),
        ("SAMPLE_ID SAMPLE_NAME", "XYZ_X SAMPLE_NAME", "row 6, column XYZ_X: is named twice"),
        ("END_DATA\n", "", "row 13: the text ends without END_DATA"),
        ("END_DATA_FORMAT\n", "", "row 8: BEGIN_DATA is not expected here"),
        ("BEGIN_DATA_FORMAT\n", "", "row 6: END_DATA_FORMAT is not expected here"),
        ("NUMBER_OF_SETS 3", "NUMBER_OF_SETS 4", "row 8, column NUMBER_OF_SETS: says 4, and 3 rows are there"),
        ("NUMBER_OF_SETS 3", "NUMBER_OF_SETS three", "row 8, column NUMBER_OF_SETS: 'three' is no number of rows"),
        ("NUMBER_OF_SETS 3", "NUMBER_OF_FIELDS 9", "row 8, column NUMBER_OF_FIELDS: says 9, and 8 columns are there"),
        ("NUMBER_OF_SETS 3", "NORMALIZED yes", "row 8, column NORMALIZED: says that the values are relative"),
    ],
)
def test_mistakes_of_cgats(file: Path, old: str, new: str, said: str) -> None:
    """A mistake in a CGATS file is named by its row and column."""
    start = mistake(file, CGATS.replace(old, new, 1))
    # Which line it is, depends on what was taken out: the words after it do not.
    assert re.sub(r"^row \d+", "row", start).startswith(re.sub(r"^row \d+", "row", said))
    assert re.match(r"row \d+[,:]", start)


NAMES = {*Field, "gray", "white"}
junk = st.text(st.characters(exclude_characters=',;"#%', exclude_categories=["Cs", "Cc", "Z"]), max_size=40).filter(
    # What is a figure, or the name of a field, is no mistake.
    lambda text: text and not re.match(r"[+\-.\d]", text) and text.lower() not in NAMES
)
FUZZ = settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])


@FUZZ
@given(row=st.integers(1, 4), column=st.integers(0, 4), text=junk)
def test_junk_in_a_csv_is_named_by_row_and_column(file: Path, row: int, column: int, text: str) -> None:
    """Any junk in any cell of a CSV file is named by its row and column."""
    lines = GOOD.splitlines()
    cells = lines[row].split(",")
    cells[column] = f"{text}"
    lines[row] = ",".join(cells)
    said = mistake(file, "\n".join(lines))
    assert said.startswith(f"row {row + 1}, column {XYY.split(',')[column]}: got ")
    assert len(said) < 300


@FUZZ
@given(row=st.integers(9, 11), column=st.integers(2, 7), text=junk)
def test_junk_in_cgats_is_named_by_row_and_column(file: Path, row: int, column: int, text: str) -> None:
    """Any junk in any cell of a CGATS file is named by its row and column."""
    lines = CGATS.replace('"white field"', "white").splitlines()
    cells = lines[row].split()
    cells[column] = text
    lines[row] = " ".join(cells)
    names = lines[5].split()
    assert mistake(file, "\n".join(lines)).startswith(f"row {row + 1}, column {names[column]}: got ")


NUMBERS = ["0", "100", "0.3", "0.33", "1e5", "-1"]
SIGNS = [",", ";", "\t", "\n", '"', "#", " ", "\ufeff", "\u2028"]
WORDS = [
    "CGATS.17",
    "BEGIN_DATA",
    "END_DATA",
    "BEGIN_DATA_FORMAT",
    "END_DATA_FORMAT",
    "XYZ_X",
    "XYZ_Y",
    "XYZ_Z",
    "RGB_R",
]
pieces = st.sampled_from([*XYY.split(","), *"XYZ", *Field, *NUMBERS, *SIGNS, *WORDS])


@FUZZ
@given(st.one_of(st.binary(max_size=300), st.lists(pieces, max_size=60).map(lambda some: "".join(some).encode())))
def test_any_bytes_are_read_or_refused_in_one_line(file: Path, data: bytes) -> None:
    """Any bytes give readings or one short line, and never another error."""
    file.write_bytes(data)
    try:
        found = read_readings(file)
    except FileError as error:
        words = str(error)
        assert "\n" not in words.removeprefix(str(file))
        assert len(words) < len(str(file)) + 400
    else:
        assert found.items


@FUZZ
@given(st.data())
def test_a_changed_file_is_read_or_refused(file: Path, data: st.DataObject) -> None:
    """Good files with a few characters put in, taken out or changed."""
    text = data.draw(st.sampled_from([GOOD, CGATS, GOOD.replace(",", ";"), GOOD.replace(XYY, XYZ)]))
    for _ in range(data.draw(st.integers(1, 4))):
        at, gone = data.draw(st.integers(0, len(text))), data.draw(st.integers(0, 20))
        text = text[:at] + data.draw(st.text(max_size=4)) + text[at + gone :]
    file.write_bytes(text.encode(errors="replace"))
    try:
        read_readings(file)
    except FileError as error:
        words = str(error).removeprefix(f"{file}: ")
        assert "\n" not in words
        assert re.match(r"row \d+[,:]|is (no text|empty)", words), words


@pytest.mark.parametrize(
    "text", [b"", b"\xff\xfe\x00", f"{XYY}\ngrey,100,.3,.3,abc\n".encode(), b"CGATS\nBEGIN_DATA\n"]
)
def test_the_command_says_one_line(file: Path, text: bytes, capsys: pytest.CaptureFixture[str]) -> None:
    """The command ends with exit 2 and one line that begins with the file's name."""
    file.write_bytes(text)
    assert run(["measure", "colour", str(file), "--json"]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.startswith(f"trueraster: {file}: ")
    assert told.err.count("\n") == 1
