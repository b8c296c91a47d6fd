"""What came in and what a bench has: `record intake`, `record part`, `record sheet`, and `report --fleet`."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import pypdfium2
import pytest

from tests.command import call, refused
from tests.pages import CHROMIUM, browser, check_alone
from tests.test_trueraster_report import RECORD
from trueraster.output.cautions import CAUTIONS
from trueraster.record.intake import QUESTIONS


@pytest.fixture
def record(tmp_path: Path) -> Path:
    path = tmp_path / "set.json"
    assert call("record", "new", path, "--set", "14-inch monitor", "--hours", "1000", "--serial", "HL-1").code == 0
    return path


def shown(path: Path) -> dict[str, Any]:
    held: dict[str, Any] = json.loads(call("record", "show", path, "--json").out)
    return held


def test_an_intake_is_kept_and_shown(record: Path) -> None:
    """Answers are put beside those that are there; the report's annex has them in the order of the questions."""
    assert call("record", "intake", record, "--mask", "slot", "--tested", "EHT lead, fuse").code == 0
    assert call("record", "intake", record, "--serials-match", "no", "--mask", "dot").code == 0
    assert shown(record)["intake"] == {"mask": "dot", "tested": "EHT lead, fuse", "serials_match": "no"}
    assert call("report", record).code == 0
    page = record.with_suffix(".html").read_text(encoding="utf-8")
    places = [page.index(words) for words in ("All belong together", "Mask of the tube", "Tested before power")]
    assert places == sorted(places)
    assert places[0] > page.index("Annex for the technician")


@pytest.mark.parametrize(
    ("words", "verdict"),
    [
        # Hand arithmetic: 8.0 of 10 is -20 %, the end of what is usual for an electrolytic: common practice, no source.
        ("--kind electrolytic --nominal 10uF --measured 8.0uF", "within"),
        ("--kind electrolytic --nominal 10uF --measured 7.9uF", "beyond"),
        ("--kind electrolytic --nominal 10uF --measured 7.9uF --tolerance -30..50", "within"),
        ("--nominal 470 --measured 400", None),
        ("--nominal 2.2kohm --measured 2300ohm --tolerance 5", "within"),
        ("--nominal 2.2kohm --measured 2320ohm --tolerance 5", "beyond"),
        ("--esr 4 --esr-most 2", "beyond"),
        ("--leakage 1 --leakage-most 2", "within"),
        ("--esr 4", None),
    ],
)
def test_a_component_is_judged_by_what_is_stated(record: Path, words: str, verdict: str | None) -> None:
    """By the tolerance that is given, else by that of its kind; without either there is no verdict."""
    ran = call("record", "part", record, "C501", *words.split(), "--json")
    assert ran.code == 0, ran
    assert json.loads(ran.out)["verdict"] == verdict


def test_what_was_out_is_listed_first_in_the_annex(record: Path) -> None:
    """With its source and what replaced it; the first page names the replaced reference alone."""
    part = ["record", "part", "X", "C1", "--kind", "film", "--nominal", "1uF", "--measured", "0.5uF", "--replaced-by"]
    part[2] = str(record)
    assert call(*part, "1 uF, 400 V").code == 0
    assert call("record", "part", record, "R1", "--nominal", "1kohm", "--measured", "1kohm").code == 0
    assert call("report", record).code == 0
    first, _, annex = record.with_suffix(".html").read_text(encoding="utf-8").partition("Annex for the technician")
    assert "Components replaced: C1" in first
    assert "-50.0 % from 1 µF, allowed -10 to +10 %" in annex
    assert (
        annex.index("Out of tolerance")
        < annex.index("common practice, no source), replaced by 1 uF")
        < annex.index("R1")
    )


def test_mistakes_of_components_are_one_line(record: Path) -> None:
    """Each names its option, and the record is as it was."""
    before = record.read_bytes()
    refused("record", "intake", record, told="nothing is given")
    refused("record", "part", record, "C1", "--nominal", "ten", told="--nominal")
    refused("record", "part", record, "C1", "--nominal", "1uF", "--measured", "1ohm", told="not one unit")
    refused("record", "part", record, "C1", "--tolerance", "x", told="--tolerance")
    refused("record", "part", record, " ", told="REF")
    refused("record", "set", record, "--service-every", "often", told="--service-every")
    assert record.read_bytes() == before


def test_the_inspection_sheet_has_cautions_questions_and_boxes(tmp_path: Path) -> None:
    """One page without anything from elsewhere, and two sheets of paper: no table is cut from its sentence."""
    page, paper = tmp_path / "a.html", tmp_path / "a.pdf"
    assert call("record", "sheet", "--to", page).code == 0
    root = check_alone(page.read_text(encoding="utf-8"))
    assert all(caution.title in root.text for caution in CAUTIONS)
    assert all(one.words in root.text for one in QUESTIONS)
    assert len(root.all("span", class_="box")) > len(QUESTIONS)
    assert call("record", "sheet", "--to", paper).code == 0
    document = pypdfium2.PdfDocument(paper)
    try:
        texts = [one.get_textpage().get_text_range() for one in document]
    finally:
        document.close()
    assert len(texts) == 2
    assert "Usual tolerances" in texts[1]
    assert "replaced" in texts[1]
    refused("record", "sheet", "--to", tmp_path / "a.txt", told="--to")


def fleet(folder: Path, changes: list[dict[str, Any]]) -> dict[str, Any]:
    """The answer of a folder with one record for each change of the set."""
    for i, change in enumerate(changes):
        held = copy.deepcopy(RECORD)
        held["set"].update({key: value for key, value in change.items() if key not in ("made", "at")})
        held["made"] = change.get("made", held["made"])
        held["work"] = [{"date": "2026-03-03", "text": "a", **({"hours": change["at"]} if "at" in change else {})}]
        (folder / f"{i}.json").write_text(json.dumps(held), encoding="utf-8")
    ran = call("report", "--fleet", folder, "--to", folder / "all.html", "--json")
    assert ran.code == 0, ran
    answer: dict[str, Any] = json.loads(ran.out)
    return answer


def test_a_fleet_says_what_is_due_and_why_it_is_not_known(tmp_path: Path) -> None:
    """Hours at the last service and the interval, less the hours now; hand arithmetic. What is overdue comes first."""
    (tmp_path / "other.json").write_text("[]", encoding="utf-8")
    sets = [
        {"serial": "A", "hours": 900, "service_every_hours": 500, "at": 600},
        {"serial": "B", "hours": 1200, "service_every_hours": 500, "at": 600},
        {"serial": "C", "hours": 1200, "service_every_hours": 500},
        {"serial": "D", "hours": 1200},
    ]
    answer = fleet(tmp_path, sets)
    told = [(one["serial"], one["due_in_hours"], one["why_not"]) for one in answer["sets"]]
    assert told == [
        ("B", -100, ""),
        ("A", 200, ""),
        ("C", None, "its hours at the last service are not known"),
        ("D", None, "no interval is set"),
    ]
    assert len(answer["left_out"]) == 1
    root = check_alone((tmp_path / "all.html").read_text(encoding="utf-8"))
    assert "due since 100 h" in root.text
    refused("report", "--fleet", tmp_path / "nowhere", told="--fleet")
    refused("report", "--fleet", tmp_path, "--tolerances", "x.toml", told="--fleet")


def test_a_fleet_says_what_drifted_between_two_jobs(tmp_path: Path) -> None:
    """From the end of the first job (401.1 mm) to the beginning of the next (409.06): 8 mm with 0.14 of uncertainty."""
    days = ["2026-03-01T10:00:00+00:00", "2027-03-01T10:00:00+00:00"]
    (one,) = fleet(tmp_path, [{"serial": "A", "made": day} for day in days])["sets"]
    assert "width of the picture by +7.96 mm" in one["drifted"]


@pytest.mark.skipif(CHROMIUM is None, reason="there is no Chromium here")
@pytest.mark.parametrize("width", [360, 390, 1000])
def test_nothing_runs_out_of_the_window(tmp_path: Path, width: int) -> None:
    """The page of a fleet and the inspection sheet, on phones and at a desk."""
    fleet(tmp_path, [{"serial": "S" * 60, "name": "Monitor " * 20, "hours": 123456.5}])
    assert call("record", "sheet", "--to", tmp_path / "sheet.html").code == 0
    for name in ("all.html", "sheet.html"):
        with browser(tmp_path / name) as found:
            found.show(width, 800)
            assert found.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth"), name
