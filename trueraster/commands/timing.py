"""`timing`: what the set is fed, line by line, and what makes a computer's output send it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from patterns.formats import FORMATS
from patterns.modes.free import By, usual_by, with_timing
from patterns.modes.scan15k import OutOfRangeError
from render.writing import placed
from trueraster.options.daily import DailyFirst
from trueraster.options.shared import as_json_option
from trueraster.options.values import UsageError, choice, format_of
from trueraster.output.terminal import note, number, put_json, put_text
from trueraster.timing.answer import Scan, timing_json, timing_text
from trueraster.timing.edid import KEPT_NAME, Interface, edid_block, edid_notes, offered
from trueraster.timing.set_range import check_set, limits_of, refusal, set_range

if TYPE_CHECKING:
    from patterns.formats import Format
    from patterns.modes.free import By
    from patterns.modes.scan15k import Limits
    from trueraster.timing.answer import Scan
    from trueraster.timing.set_range import SetRange

__all__ = ["timing"]

_TUBE_ASPECT = "4:3"
"""Of a 15 kHz set's picture, unless --aspect is given. Common practice, no source."""
_SAME_RATE = 0.002
"""How far a rate may be from a named one and still be meant as that: 60 Hz is 0.1 % from 59.94."""


@click.command(cls=DailyFirst, daily=("--line-rate", "--field-rate", "--edid"))
@click.argument("formats", nargs=-1, required=True, metavar="FORMAT...")
@click.option("--by", help="Formula for a free raster: cvt, cvt-rb, cvt-rb2, gtf or 15khz.  [default: 15khz up to 288 lines a field and 62 Hz, else cvt]")  # fmt: skip # noqa: E501
@click.option("--aspect", help="Picture aspect, such as 16:9.")
@click.option("--line-rate", "--line-rates", help="The set's stated line rates, such as 15.5-15.9kHz or 15.6-15.8,31-32. One rate means ± 1 %; 15kHz and 31kHz mean that class of set. A format outside is refused.")  # fmt: skip # noqa: E501
@click.option("--field-rate", help="The set's stated field rates, such as 48-62Hz; one rate means ± 1 %.")
@click.option("--front-porch", help="15khz: shortest front porch.  [default: 0.8us]")
@click.option("--sync", help="15khz: shortest horizontal sync.  [default: 4.5us]")
@click.option("--back-porch", help="15khz: shortest back porch.  [default: 4.4us]")
@click.option("--active-time", help="15khz: duration of the picture in a line.  [default: 51-53.5us]")
@click.option("--blank-lines", help="15khz: fewest lines of front porch/sync/back porch in a field.  [default: 1/3/12]")
@click.option("--clock-min", help="15khz: the output's lowest pixel clock, such as 25MHz.")
@click.option("--clock-step", help="15khz: step of the output's pixel clock.  [default: 10kHz]")
@click.option("--rate-tolerance", help="15khz: largest distance from the rate asked for.  [default: 0.5%]")
@click.option("--edid", type=click.Path(), help="Write an EDID block (128 bytes) with these modes only.")
@click.option("--edid-for", help="Output that reads the EDID: analogue or digital.  [default: analogue]")
@click.option("--edid-name", help="The display's name in the EDID, up to 13 letters.  [default: trueraster]")
@as_json_option
def timing(
    formats: tuple[str, ...],
    by: str | None,
    aspect: str | None,
    line_rate: str | None,
    field_rate: str | None,
    edid: str | None,
    edid_for: str | None,
    edid_name: str | None,
    as_json: bool,
    **typed: str | None,
) -> None:
    """Show a scan; make its mode line and EDID block.

    You get rates, porches, sync, levels and a mode line for a computer.

    FORMAT is a name such as 480i, or any raster as WxH[i|p]@RATE, such as 2560x240p@60. State the set's ranges with
    --line-rate and --field-rate: a scan outside them is refused.
    """
    choice("--by", by, ("cvt", "cvt-rb", "cvt-rb2", "gtf", "15khz"))
    choice("--edid-for", edid_for, ("analogue", "digital"))
    if edid is None:
        _refuse_without_edid({"--edid-for": edid_for, "--edid-name": edid_name})
    stated = set_range(line_rate, field_rate)
    limits = limits_of(stated, typed)
    shaping = [f"--{name.replace('_', '-')}" for name, text in typed.items() if text is not None]
    scans = [_scan_of(text, aspect, by, stated, limits, shaping) for text in formats]
    block = None if edid is None else _write_edid(Path(edid), scans, stated, edid_for, edid_name)
    if as_json:
        answer: dict[str, Any] = (
            timing_json(scans[0]) if len(scans) == 1 else {"timings": [timing_json(scan) for scan in scans]}
        )
        put_json(answer if block is None else answer | {"edid": block})
    else:
        put_text(f"\n\n{'=' * 72}\n\n".join(timing_text(scan) for scan in scans))
    if block is None:
        return
    if not as_json:
        put_text(f"\nEDID       {edid}: {', '.join(mode['format'] for mode in block['modes'])}, the first is preferred")
    for words in block["notes"]:
        note(f"Note: {words}")
    if line_rate is None:
        note("Note: a computer may send any mode of the block by itself; state the set's range with --line-rate.")


def _refuse_without_edid(typed: dict[str, str | None]) -> None:
    given = [name for name, text in typed.items() if text is not None]
    if given:
        raise UsageError(
            f"{', '.join(given)}: for the block that --edid FILE writes; add --edid set.bin or leave it out"
        )


def _scan_of(
    text: str, aspect: str | None, by: str | None, stated: SetRange, limits: Limits, shaping: list[str]
) -> Scan:
    """A format's timing, checked against the stated set; `shaping` are the options that only 15khz uses."""
    if "," in text:
        raise UsageError(
            f"{text[:40]!r}: write formats with a blank between, such as 480i 576i, and a rate with a point, such as"
            " 640x480i@59.94"
        )
    fmt, way = format_of(text, aspect), None
    asked, hint = None, ""
    if fmt.timing is None:
        way = usual_by(fmt) if by is None else By(by)
        if way is By.FIFTEEN_KHZ and aspect is None:
            # Its samples are as wide as the tube makes them.
            fmt = format_of(text, _TUBE_ASPECT)
        asked, hint = fmt.field_rate, _same_named(fmt)
        try:
            fmt = with_timing(fmt, way, limits)
        except OutOfRangeError as error:
            option, said = (
                ("--line-rate", stated.line_rates) if error.of_lines else ("--field-rate", stated.field_rates)
            )
            usual = "" if said else f" ({option} was not stated: these are a usual 15 kHz set's)"
            raise UsageError(refusal(f"{error}{usual}")) from error
    elif by is not None:
        raise UsageError(
            f"--by: {fmt.id} is a named format, whose timing is its standard's; write it as"
            f" {fmt.width}x{fmt.height}{'i' if fmt.interlaced else 'p'}@RATE for another"
        )
    if shaping and way is not By.FIFTEEN_KHZ:
        out = "leave it out" if len(shaping) == 1 else "leave them out"
        why = _made_otherwise(fmt, way, by)
        raise UsageError(f"{', '.join(shaping)}: only for free rasters by 15khz, and {why}: {out}{_free_instead(fmt)}")
    check_set(fmt, stated)
    assert fmt.timing is not None
    return Scan(format=fmt, timing=fmt.timing, by=way, asked_hz=asked, hint=hint)


def _made_otherwise(fmt: Format, way: By | None, by: str | None) -> str:
    """Why the options of the 15 kHz family do nothing for the format."""
    if way is None:
        return f"{fmt.id} is a named format, whose timing is its standard's"
    return f"{fmt.id} is made by {way.value}{'' if by else ', as are rasters above 288 lines a field or 62 Hz'}"


def _free_instead(fmt: Format) -> str:
    """A named format's raster without its standard's timing, where the 15 kHz family may have one."""
    if fmt.id not in FORMATS or fmt.timing is None or not fmt.timing.is_15k:
        return ""
    scan = "i" if fmt.interlaced else "p"
    return f", or write {fmt.width}x{fmt.height}{scan}@{float(fmt.field_rate):.5g} for the raster alone"


def _same_named(fmt: Format) -> str:
    """A named format with the same raster and rate has the standard's own timing."""
    raster = (fmt.width, fmt.height, fmt.interlaced)
    same = [named for named in FORMATS.values() if (named.width, named.height, named.interlaced) == raster]
    nearest = min(same, key=lambda named: abs(named.field_rate - fmt.field_rate), default=None)
    if nearest is None or abs(nearest.field_rate / fmt.field_rate - 1) > _SAME_RATE:
        return ""
    return f"the named format {nearest.id} has this raster with the standard's own timing"


def _write_edid(
    path: Path, scans: list[Scan], stated: SetRange, read_by: str | None, typed_name: str | None
) -> dict[str, Any]:
    """Write the block, and give its contents for --json."""
    if str(path) in (".", "-") or path.is_dir():
        raise UsageError(f"--edid: got {str(path)[:60]!r}, expected a file name such as set.bin")
    missing = next((folder for folder in reversed(path.absolute().parents) if not folder.exists()), None)
    if missing is not None and missing.parent == Path(path.absolute().anchor):
        # Usually a typing mistake: one slash too many.
        raise UsageError(f"--edid: there is no folder {missing}, and the tool makes none at the root; check the path")
    interface = Interface.ANALOGUE if read_by is None else Interface(read_by)
    formats = [scan.format for scan in scans]
    for fmt in formats:
        # The block's rounded clock has to keep to the set as well.
        check_set(replace(fmt, timing=fmt.timing and offered(fmt.timing)), stated)
    block = edid_block(formats, interface=interface, name=KEPT_NAME if typed_name is None else typed_name)
    with placed(path) as file:
        file.write(block)
    modes = [
        {"format": each.format.id, "pixel_clock_hz": number(offered(each.timing).pixel_clock_hz)} for each in scans
    ]
    return {
        "path": str(path),
        "for": interface.value,
        "modes": modes,
        "hex": block.hex(),
        "notes": list(edid_notes(formats, interface)),
    }
