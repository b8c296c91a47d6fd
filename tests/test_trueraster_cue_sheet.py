"""The cue sheet of a kit: whole in itself, readable on paper, a phone and a desk, and right in what it says."""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS, parse_format
from patterns.pattern import Options
from patterns.signal import Colour, Matrix, Range, Sampling, Signal
from render.carriers import CARRIERS
from render.preview import preview, preview_png
from tests.pages import CHROMIUM, Browser, Element, browser, check_alone, read
from trueraster.kit.plan import Item, plan_kit
from trueraster.kit.sheet import STAGES, cue_sheet, levels_of, stage_of
from trueraster.output.cautions import CAUTIONS

# --- The page as text ----------------------------------------------------------------------------------------


def plan(*names: str, carrier: str = "h264") -> tuple[Item, ...]:
    return plan_kit([FORMATS[name] for name in names], CARRIERS[carrier]).items


@pytest.fixture(scope="module")
def items() -> tuple[Item, ...]:
    return plan("480i", "720p50")


@pytest.fixture(scope="module")
def page(items: list[Item]) -> str:
    return cue_sheet("Check-up kit", items, "trueraster 0")


@pytest.fixture(scope="module")
def root(page: str) -> Element:
    return read(page)


def test_the_page_says_what_a_browser_must_know(page: str, root: Element) -> None:
    """Document type, language, letters, viewport, and a title that names the formats."""
    assert page.startswith("<!doctype html>")
    (html,) = root.all("html")
    assert html.given["lang"] == "en"
    assert [e.given["charset"] for e in root.all("meta") if "charset" in e.given] == ["utf-8"]
    viewports = [e.given["content"] for e in root.all("meta") if e.given.get("name") == "viewport"]
    assert viewports == ["width=device-width, initial-scale=1"]
    assert root.all("title")[0].text == "Check-up kit: 480i, 720p50"


def test_the_page_needs_nothing_from_elsewhere(page: str) -> None:
    """No address of another file or host: pictures are data, links stay in the page, styles load nothing."""
    check_alone(page)


def test_names_in_the_page_are_unique_and_lead_somewhere(root: Element) -> None:
    """Every id is there once; every label and every link leads to one; every field has exactly one label."""
    ids = [e.given["id"] for e in root.all() if "id" in e.given]
    assert len(ids) == len(set(ids))
    labels = [e.given["for"] for e in root.all("label")]
    assert sorted(labels) == sorted(e.given["id"] for e in root.all("input"))
    assert {e.given["href"][1:] for e in root.all("a")} <= set(ids)
    assert {e.given["aria-labelledby"] for e in root.all() if "aria-labelledby" in e.given} <= set(ids)


def test_headings_are_in_order(root: Element) -> None:
    """One first heading, and no level is left out on the way down."""
    levels = [int(e.name[1]) for e in root.all() if re.fullmatch("h[1-6]", e.name)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(later <= earlier + 1 for earlier, later in pairwise(levels))


def test_cautions_come_first_then_the_set_then_the_preparations(root: Element) -> None:
    """Every caution stands once, whole, before anything is to be done; then the lines to write on, then the steps."""
    order = [e.given["id"] for e in root.all("section") if "id" in e.given]
    assert order == ["cautions", "set", "before", "format-1", "format-2"]
    (cautions,) = root.all("section", id="cautions")
    for caution in CAUTIONS:
        assert caution.title in cautions.text
        assert " ".join(caution.text.split()) in cautions.text
    # DESIGN.md section 12 names what has to be said.
    for word in ("charge", "implode", "X-radiation", "mains", "qualified", "local codes", "outside", "wear", "BT.1702"):
        assert word in cautions.text, word
    names = [e.text for e in root.all("section", id="set")[0].all("label")]
    for name in ("Set", "Serial number", "Date", "Technician", "Hours run"):
        assert name in names
    before = root.all("section", id="before")[0].text
    for words in ("half an hour", "Degauss", "trueraster verify"):
        assert words in before


def _set(text: str) -> str:
    """Words as the page has them: single blanks, and a minus sign before I."""
    return " ".join(text.split()).replace("-I", "−I")


def test_every_file_has_its_block_in_the_order_of_work(root: Element, items: list[Item]) -> None:
    """Number, name, what to look at, what is right, what to adjust, how long, cautions, a box and two lines."""
    blocks = root.all("article")
    assert [block.given["id"] for block in blocks] == [f"step-{item.number}" for item in items]
    for block, item in zip(blocks, items, strict=True):
        pattern = item.order.pattern
        said = dict(zip((e.text for e in block.all("dt")), (e.text for e in block.all("dd")), strict=True))
        assert said["Look at"] == " ".join(pattern.look.split())
        assert said["Right is"] == " ".join(pattern.right.split())
        assert said["Adjust"] == " ".join(pattern.adjust.split())
        assert str(pattern.dwell_minutes) in said["Leave up"]
        assert all(_set(caution) in block.text for caution in pattern.cautions_in(item.order.format))
        assert item.name in block.text
        assert pattern.title in block.all("h4")[0].text
        assert [e.given["type"] for e in block.all("input")] == ["checkbox", "text", "text"]
    options = {item.number: block.all("h4")[0].text for item, block in zip(items, blocks, strict=True)}
    fields = [options[item.number] for item in items if item.order.options.colour == "red"]
    assert all(words.endswith(", red") for words in fields)


def test_each_format_has_its_facts(root: Element, items: list[Item]) -> None:
    """Line rate, field rate, raster and cautions stand under the format's heading."""
    # CTA-861 (the figures of patterns/formats.py): 480i 15.734 kHz and 59.940 Hz, 720p50 37.5 kHz and 50 Hz.
    # Periods of the lines are 1 / 15734.27 Hz and 1 / 37500 Hz; sync lasts 62 samples at 13.5 MHz, and tri-level sync
    # twice 40 at 74.25 MHz (ST 296).
    first = ("15.734 kHz", "59.940 Hz", "720 × 480", "4:3", "63.56 µs", "sync 4.59")
    for index, words in ((1, first), (2, ("37.500 kHz", "50.000 Hz", "26.67 µs", "sync 1.08"))):
        (part,) = root.all("section", id=f"format-{index}")
        assert part.all("h2")[0].text.endswith(words[0])
        (facts,) = part.all("dl", class_="facts")
        assert all(word in facts.text for word in words), facts.text
    (second,) = root.all("section", id="format-2")
    assert all(caution in second.text for caution in FORMATS["720p50"].cautions)


def test_another_aspect_is_named_where_the_format_is(root: Element) -> None:
    """480i of 16:9 says so in title, headings and the command that proves the signal; what is usual is not said."""
    fmt = parse_format("480i", Fraction(16, 9))
    wide = read(cue_sheet("Kit", plan_kit([fmt], CARRIERS["png"]).items[:3], "trueraster 0"))
    assert wide.all("title")[0].text == "Kit: 480i 16:9"
    assert wide.all("h2", id="format-1-head")[0].text == "480i 16:9 15.734 kHz"
    assert {e.text for e in wide.all("h3")} == {"480i 16:9: Signal"}
    assert "--format 480i --aspect 16:9" in wide.all("code")[0].text
    assert not {"480i 4:3", "720p50 16:9"} & {e.text.rsplit(" ", 2)[0] for e in root.all("h2")}
    assert "--aspect" not in root.all("code")[0].text


def test_stages_say_how_to_go_about_them(root: Element) -> None:
    """DESIGN.md section 11: convergence static before dynamic, grey scale low then high, repeated."""
    ways = {e.parent.all("h3")[0].text: e.text for e in root.all("p", class_="way") if e.parent}
    for name in ("480i", "720p50"):
        assert re.search(r"Static first.*then dynamic", ways.pop(f"{name}: Convergence"))
        assert re.search(r"Low first.*then high.*repeat", ways.pop(f"{name}: Grey scale"))
    assert ways == {}


def test_each_block_stands_under_its_stage(root: Element) -> None:
    """A stage's heading names the format too, and comes once for a format."""
    for index, name in ((1, "480i"), (2, "720p50")):
        (part,) = root.all("section", id=f"format-{index}")
        headings = [e.text for e in part.all("h3")]
        assert len(headings) == len(set(headings))
        assert all(heading.startswith(f"{name}: ") for heading in headings)
        # The order of work of DESIGN.md section 11; stages without a pattern are left out.
        order = [f"{name}: {stage}" for stage in STAGES.values()]
        assert headings == [heading for heading in order if heading in headings]


def test_every_pattern_has_a_stage_of_its_own_area() -> None:
    """No pattern falls before the first stage, and each stage has a heading of its own."""
    assert len(set(STAGES.values())) == len(STAGES)
    assert all(stage_of(pattern.order) <= pattern.order for pattern in PATTERNS.values())


def test_pictures_are_small_png_files_with_words(root: Element, items: list[Item]) -> None:
    """Each is in the page, has its size and words for who does not see it, and the picture's aspect."""
    images = root.all("img")
    assert len(images) == len(items)
    for element, item in zip(images, items, strict=True):
        data = base64.b64decode(element.given["src"].removeprefix("data:image/png;base64,"), validate=True)
        with Image.open(io.BytesIO(data)) as picture:
            assert picture.format == "PNG"
            assert picture.size == (int(element.given["width"]), int(element.given["height"]))
            assert picture.width / picture.height == pytest.approx(float(item.order.format.picture_aspect), rel=0.01)
        assert len(data) < 40_000, item.name
        assert item.order.pattern.title in element.given["alt"]


# --- Levels --------------------------------------------------------------------------------------------------


def table_of(root: Element, number: str) -> list[list[str]]:
    (block,) = root.all("article", id=f"step-{number}")
    return [[e.text for e in row.inside if isinstance(e, Element)] for row in block.all("tbody")[0].all("tr")]


def number_of(items: list[Item], pattern: str, fmt: str = "480i") -> str:
    return next(i.number for i in items if i.order.pattern.id == pattern and i.order.format.id == fmt)


def test_levels_are_those_of_the_standards(
    root: Element, items: list[Item], bars: dict[str, Any], greys: dict[str, Any]
) -> None:
    """Codes are the vectors', by the format's matrix; millivolts are 700 mV times the level."""
    steps = {row[0]: row[1:] for row in table_of(root, number_of(items, "steps"))}
    for name in ("0", "10", "50", "90", "100"):
        assert steps[name] == [name, str(greys["greys"]["8"][name]), f"{7 * int(name):.1f}"]
    for fmt, matrix in (("480i", "601"), ("720p50", "709")):
        rows = {row[0]: row[1:] for row in table_of(root, number_of(items, "bars", fmt))}
        for name in ("yellow", "green", "blue"):
            assert rows[name][3:6] == [str(code) for code in bars["three_quarters"][name][f"{matrix}_8"]], (fmt, name)
    # BT.601: Y' of 75 % yellow is (0.299 + 0.587) * 525 mV; P'B is -(Y') / 1.772, P'R is (525 - Y') / 1.402.
    yellow = {row[0]: row[1:] for row in table_of(root, number_of(items, "bars"))}["yellow"]
    assert yellow[:3] == ["75", "75", "0"]
    assert yellow[6:] == ["465.1", "−262.5", "42.7"]


def test_only_equal_tables_are_left_out(root: Element, items: list[Item]) -> None:
    """Each file with levels has a table or a link to the first block that has the same one."""
    seen: dict[Any, str] = {}
    for item in items:
        (block,) = root.all("article", id=f"step-{item.number}")
        levels = levels_of(item)
        links = [e.given["href"] for e in block.all("a")]
        if levels is None:
            assert (block.all("table"), links) == ([], [])
        elif levels in seen:
            assert (block.all("table"), links) == ([], [f"#step-{seen[levels]}"])
        else:
            seen[levels] = item.number
            assert (len(block.all("table")), links) == (1, [])
    assert len(seen) > 5


def test_the_files_own_codes_stand_beside_the_interface_codes() -> None:
    """A kind of file of another depth or range has a second column of codes."""
    deep = next(levels_of(item) for item in plan("480i", carrier="ffv1") if item.order.pattern.id == "steps")
    assert deep is not None
    assert [name for name, _ in deep.groups] == ["%", "8 bits", "10 bits, narrow", "mV"]
    # BT.601-7 at 50 %: 126 of 8 bits, 502 of 10.
    assert deep.rows[5] == ("50", "50", "126", "502", "350.0")
    item = next(item for item in plan("480i", carrier="png") if item.order.pattern.id == "steps")
    # A kit of stills is narrow, for the sake of pluge; the item in full range:
    still = levels_of(replace(item, order=replace(item.order, signal=replace(item.order.signal, range=Range.FULL))))
    assert still is not None
    # Full range: 50 % of 255 is 127.5, rounded half up.
    assert still.rows[5] == ("50", "50", "126", "128", "350.0")


# --- In a browser --------------------------------------------------------------------------------------------

in_browser = pytest.mark.skipif(CHROMIUM is None, reason="there is no Chromium here")


@pytest.fixture(scope="module")
def shown(page: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    path = tmp_path_factory.mktemp("sheet") / "cue sheet ü.html"
    path.write_text(page, encoding="utf-8")
    with browser(path) as found:
        yield found


@in_browser
@pytest.mark.parametrize("width", [360, 768, 1280])
def test_nothing_runs_out_of_the_window(shown: Browser, width: int) -> None:
    """On a phone, a tablet and a desk the page is as wide as the window; wide tables scroll in themselves."""
    shown.show(width, 800)
    assert shown.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert shown.evaluate("document.body.getBoundingClientRect().width") <= width
    outside = """[...document.querySelectorAll("body *")].filter(e => !e.closest(".levels")
        && e.getBoundingClientRect().right > document.documentElement.clientWidth + 0.5).map(e => e.outerHTML)"""
    assert shown.evaluate(outside) == []


@in_browser
def test_the_browser_has_nothing_to_complain_of_and_asks_for_nothing(shown: Browser) -> None:
    """No error, no warning, no word in the console, and no request but for the page and what it holds."""
    shown.evaluate("1")
    kinds = ("Runtime.exceptionThrown", "Runtime.consoleAPICalled", "Log.entryAdded")
    assert [event for event in shown.events if event["method"] in kinds] == []
    asked = [e["params"]["request"]["url"] for e in shown.events if e["method"] == "Network.requestWillBeSent"]
    assert len([url for url in asked if url.startswith("file:")]) == 1
    assert all(url.startswith(("file:", "data:")) for url in asked)


@in_browser
def test_ticks_and_words_are_kept_and_cleared(shown: Browser) -> None:
    """What is ticked and written is there after the page is loaded again, until it is cleared."""
    change = """(() => {
        const box = document.querySelector("#done-1-02"), line = document.querySelector("#found-1-02");
        box.click();
        line.value = "2 mm low"; line.dispatchEvent(new Event("input", {bubbles: true}));
        return box.checked;
    })()"""
    state = '[document.querySelector("#done-1-02").checked, document.querySelector("#found-1-02").value]'
    assert shown.evaluate(change) is True
    for cleared, expected in ((False, [True, "2 mm low"]), (True, [False, ""])):
        if cleared:
            shown.evaluate('window.confirm = () => true; document.querySelector("#clear").click()')
        shown.events.clear()
        shown.call("Page.reload")
        shown.wait_for("Page.loadEventFired")
        assert shown.evaluate(state) == expected


@in_browser
def test_the_page_prints_on_a4_without_cutting_a_block(shown: Browser) -> None:
    """A PDF of A4 pages comes out; no block is so high that it would have to be cut."""
    shown.call("Emulation.setEmulatedMedia", media="print")
    # 210 mm less two margins of 14 mm, and 297 mm less 16 and 14 mm, at 96 samples an inch.
    width, height = round(182 / 25.4 * 96), 267 / 25.4 * 96
    shown.show(width, 800)
    heights = shown.evaluate('[...document.querySelectorAll(".step")].map(e => e.getBoundingClientRect().height)')
    shown.call("Emulation.setEmulatedMedia", media="")
    assert max(heights) < height
    result = shown.call("Page.printToPDF", preferCSSPageSize=True)
    data = base64.b64decode(result["data"])
    assert data.startswith(b"%PDF-")
    # An A4 page is 595 x 842 points (ISO 216: 210 x 297 mm).
    sizes = re.findall(rb"/MediaBox ?\[ ?0 0 ([\d.]+) ([\d.]+)", data)
    assert len(sizes) > 10
    assert {(round(float(w)), round(float(h))) for w, h in sizes} <= {(595, 842), (596, 842)}


@in_browser
@pytest.mark.parametrize("names", [("1080i50",), pytest.param(("480i", "720p50"), marks=pytest.mark.slow)])
def test_no_printed_page_holds_only_the_footer(tmp_path: Path, names: tuple[str, ...]) -> None:
    """The footer stands on the page of the last block, also where that page was full, as of 1080i50."""
    path = tmp_path / "sheet.html"
    path.write_text(cue_sheet("Check-up kit", plan(*names), "trueraster 0"), encoding="utf-8")
    with browser(path) as found:
        # A link's target has its page in the PDF (ISO 32000, 12.3.2.3: named destinations).
        last = found.evaluate("""(() => {
            const last = [...document.querySelectorAll(".step")].at(-1).id;
            document.querySelector("footer").id = "end";
            document.querySelector("h1").innerHTML = `<a href="#end">a</a><a href="#${last}">b</a>`;
            return last;
        })()""")
        data = base64.b64decode(found.call("Page.printToPDF", preferCSSPageSize=True)["data"])
    pages = dict(re.findall(rb"/(end|step-[\d-]+) \[(\d+) 0 R", data))
    assert pages[b"end"] == pages[last.encode()]


@in_browser
def test_words_stand_out_from_their_ground(shown: Browser) -> None:
    """WCAG 2.2, 1.4.3: at least 4.5 to 1 between words and the white page, for every colour of words in use."""
    colours = shown.evaluate(
        '[...new Set([...document.querySelectorAll("body *")].map(e => getComputedStyle(e).color))]'
    )
    assert colours

    def luminance(channels: list[int]) -> float:
        # WCAG 2.2, relative luminance.
        linear = [c / 255 / 12.92 if c <= 10 else ((c / 255 + 0.055) / 1.055) ** 2.4 for c in channels]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    for colour in colours:
        channels = [int(part) for part in re.findall(r"\d+", colour)[:3]]
        # The darkest ground is that of every second row of a table, #f3f5f7.
        assert (luminance([243, 245, 247]) + 0.05) / (luminance(channels) + 0.05) >= 4.5, colour


# --- Small pictures ------------------------------------------------------------------------------------------

FULL = Signal(range=Range.FULL, matrix=Matrix.BT709, bits=8, sampling=Sampling.RGB)


def test_a_small_picture_keeps_flat_codes() -> None:
    """Each step of the grey steps and each bar has its own code in the middle of its column."""
    small = np.asarray(preview(PATTERNS["steps"], FORMATS["480i"], height=180))
    assert small.shape == (180, 240)
    for i in range(11):
        # Full range: i tenths of 255, rounded half up.
        assert small[60, round((i + 0.5) * 240 / 11)] == (i * 255 * 2 + 10) // 20
    bars = np.asarray(preview(PATTERNS["bars"], FORMATS["1080i50"], height=90).convert("RGB"))
    assert bars.shape == (90, 160, 3)
    for i, colour in enumerate(((1, 1, 1), (0.75, 0.75, 0), (0, 0.75, 0.75), (0, 0.75, 0))):
        expected = FULL.codes(Colour(*(Fraction(c) for c in colour)))
        assert tuple(bars[45, 10 + 20 * i]) == expected


def test_a_small_picture_has_the_light_of_the_whole_one() -> None:
    """The mean light of a crosshatch, by the 2.4 power of BT.1886, is the same large and small within a code of it."""
    large = np.asarray(preview(PATTERNS["crosshatch"], FORMATS["1080p50"], height=1080), dtype=float)
    small = np.asarray(preview(PATTERNS["crosshatch"], FORMATS["1080p50"], height=180), dtype=float)
    light = [float(((picture / 255) ** 2.4).mean()) for picture in (large, small)]
    assert light[1] == pytest.approx(light[0], rel=0.02)


def test_a_small_picture_has_square_samples() -> None:
    """The large circle is as wide as high, whatever the samples of the format."""
    for name in ("480i", "576i", "720p50"):
        circles = np.asarray(preview(PATTERNS["circles"], FORMATS[name], height=240))
        middle_row, middle_column = circles[120], circles[:, circles.shape[1] // 2]
        width = np.ptp(np.flatnonzero(middle_row > 100))
        height = np.ptp(np.flatnonzero(middle_column > 100))
        assert abs(int(width) - int(height)) <= 2, name


def test_a_small_picture_takes_options_and_is_a_png() -> None:
    """A red field is red; a grey one has one channel."""
    field = preview(PATTERNS["field"], FORMATS["480i"], Options(colour="red"), height=60)
    with Image.open(io.BytesIO(preview_png(field))) as read_back:
        assert read_back.format == "PNG"
        assert read_back.convert("RGB").getcolors() == [(80 * 60, (255, 0, 0))]
    assert preview(PATTERNS["field"], FORMATS["480i"], Options(colour="grey"), height=60).mode == "L"


def test_cells_that_are_not_equal_squares_are_on_the_sheet() -> None:
    """480i at 16:9 has rows of 53 and 54 lines, 1.25 % off their mean of 53.33: the sheet says whose error that is."""
    words = "differ in height by up to 1.25 % from their mean. This error is the file&#39;s, not the set&#39;s"
    for aspect, is_there in ((Fraction(16, 9), True), (Fraction(4, 3), False)):
        items = plan_kit([parse_format("480i", aspect)], CARRIERS["png"]).items
        assert (words in cue_sheet("Kit", items, "program")) is is_there
