"""`draw`: patterns as proved files."""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import click

from patterns.formats import FORMATS
from patterns.signal import Edges, Matrix, Range, Sampling
from trueraster import interrupt
from trueraster.options.daily import DailyFirst
from trueraster.options.shared import as_json_option, pattern_options
from trueraster.options.trade import Kind, options_with, word_note
from trueraster.options.values import UsageError, carrier_of, choice, format_of, options_of, pattern_of
from trueraster.output.terminal import columns, note, progress, put_json, put_text, reader_may_go

if TYPE_CHECKING:
    from patterns.formats import Format
    from render.produce import Order

__all__ = ["draw"]


@click.command(cls=DailyFirst, daily=("--format", "--as", "--to"))
@click.argument("names", nargs=-1, required=True, metavar="PATTERN...")
@click.option(
    "--format", "-f", "fmt", default="480i", show_default=True, help="Such as 480i, 1080i59.94 or 1024x768@60."
)
@click.option(
    "--as",
    "carriers",
    multiple=True,
    help="Kind of file: png, tiff, dpx, h264, mpeg2, prores, v210, ffv1, y4m; repeatable.  [default: png and h264]",
)
@click.option("--to", default="outputs", show_default=True, help="Folder or file name; - sends y4m to standard output.")
@click.option("--aspect", help="Picture aspect: 4:3 or 16:9; any for a free raster.")
@click.option("--range", "code_range", help="Code range: narrow or full.  [default: stills full, video narrow]")
@click.option("--matrix", help="Matrix: 601 or 709.  [default: by the format]")
@click.option("--bits", type=int, help="Bits: 8, 10, 12 or 16.  [default: by the kind of file]")
@click.option("--sampling", help="Sampling: rgb, 444, 422 or 420.  [default: by the kind of file]")
@click.option(
    "--seconds",
    type=float,
    help="Length of a clip.  [default: h264, mpeg2 60 (zone-plate-moving 10); prores, v210, ffv1 10; y4m 1]",
)
@click.option("--edges", help="Edges: shaped or hard.  [default: shaped in Y'CbCr video, else hard]")
@click.option("--tagged", is_flag=True, help="Colour tags in full-range PNG too; viewers then convert its codes.")
@click.option("--primaries", help="Colour tags: format, or display for a computer's output.  [default: format]")
@click.option("--tone", is_flag=True, help="Put 1 kHz into clips: -18 dBFS for 625 lines and 50 Hz, else -20.")
@pattern_options
@as_json_option
def draw(
    names: tuple[str, ...],
    fmt: str,
    carriers: tuple[str, ...],
    to: str,
    aspect: str | None,
    code_range: str | None,
    matrix: str | None,
    bits: int | None,
    sampling: str | None,
    seconds: float | None,
    edges: str | None,
    tagged: bool,
    primaries: str | None,
    tone: bool,
    as_json: bool,
    **typed: str | None,
) -> None:
    """Draw patterns into files, and prove every file.

    The tool decodes each file and compares it with the drawing, before it gives the file its name.

    PATTERN is a name ('trueraster patterns' lists them) or your own TOML file. With a pattern alone you get a still and
    a clip of a minute, for 480i, in the folder outputs.
    """
    # The help does without numpy and the decoder: 250 ms, here and in the functions below.
    from render.carriers import CARRIERS
    from trueraster.options.cells import cells_words
    from trueraster.options.orders import Wish, check_tagged, extras_of, length_note, moment_note, orders_of

    chosen_format = format_of(fmt, aspect)
    options = options_of(typed)
    named = {name: pattern_of(name) for name in names}
    taken_by_any = {name for pattern in named.values() for name in pattern.takes}
    if to == "-" and as_json:
        raise UsageError("--json: with --to - standard output holds the frames; give a file name")
    typed_kinds = carriers or (("y4m",) if to == "-" else _usual(chosen_format))
    wanted = dict.fromkeys(carrier_of(name, tuple(CARRIERS)) for name in typed_kinds)
    ranged = choice("--range", code_range, tuple(Range))
    weighed = choice("--matrix", matrix, tuple(Matrix))
    sampled = choice("--sampling", sampling, tuple(Sampling))
    edged = choice("--edges", edges, tuple(Edges))
    if seconds is not None and not 0 < seconds <= 86_400:
        raise UsageError(f"--seconds: got {seconds:g}; give more than 0 and at most 86400 (a day)")
    extras = extras_of(primaries, tone, seconds, [CARRIERS[name] for name in wanted])
    check_tagged(tagged, [CARRIERS[name] for name in wanted])
    wishes, notes = [], [f"{name}: {CARRIERS[name].note}" for name in wanted if CARRIERS[name].note]
    notes += filter(None, [length_note(seconds, [CARRIERS[name] for name in wanted], chosen_format)])
    notes += filter(None, [word_note(Kind.FORMAT, fmt), *(word_note(Kind.PATTERN, name) for name in named)])
    for name, pattern in named.items():
        if not pattern.suits(chosen_format):
            why = "" if chosen_format.interlaced else ", which has no fields"
            notes.append(f"{pattern.id} does not suit {chosen_format.id}{why}; a kit leaves it out")
        # Each gets the options meant for it, and refuses those meant for none.
        taken = options_with(name, options.without(taken_by_any.difference(pattern.takes)))
        for carrier in (CARRIERS[name] for name in wanted):
            signal = carrier.signal(
                chosen_format,
                code_range=Range(ranged) if ranged else None,
                matrix=Matrix(weighed) if weighed else None,
                bits=bits,
                sampling=Sampling(sampled) if sampled else None,
                edges=Edges(edged) if edged else None,
            )
            wishes.append(Wish(pattern=pattern, options=taken, format=chosen_format, carrier=carrier, signal=signal))
        scene = pattern.scene(chosen_format, taken)
        words = cells_words(chosen_format, scene)
        notes += [f"{pattern.id}: {words}"] if words else []
        notes += filter(None, [moment_note(pattern, scene, [CARRIERS[name] for name in wanted])])
    # Every mistake is reported before the first file is made.
    planned = orders_of(wishes, seconds=seconds, range_is_chosen=ranged is not None, tagged=tagged, extras=extras)
    orders, notes = list(planned.orders), [*notes, *planned.notes]
    named_alike = _named_alike(chosen_format)
    if named_alike:
        notes.append(f"written as {named_alike}, this raster has the standard's sample shape, matrix and edges")
    paths = _paths(orders, to)
    for words in notes:
        note(f"Note: {words}")
    if to == "-":
        _to_standard_output(orders[0])
    else:
        _to_files(orders, paths, as_json=as_json)


def _named_alike(fmt: Format) -> str:
    """The named format that has the raster, scan and rate of a free one, or nothing."""

    def key(f: Format) -> tuple[object, ...]:
        return f.width, f.height, f.interlaced, f.frame_rate

    return "" if fmt.timing else next((f.id for f in FORMATS.values() if key(f) == key(fmt)), "")


def _usual(fmt: Format) -> tuple[str, ...]:
    """A still and a clip; of a computer's raster, which no player scans, the still alone."""
    return ("png", "h264") if fmt.timing is not None else ("png",)


_MEDIA = frozenset(
    (
        *(".png", ".mp4", ".mkv", ".y4m", ".mov", ".avi", ".mpg", ".mpeg", ".webm", ".m4v", ".ts"),
        *(".tif", ".tiff", ".jpg", ".jpeg", ".gif", ".bmp", ".webp", ".dpx", ".exr"),
    )
)
"""Endings that mean a file. For the kinds that we do not write, the message names ours."""


def _to_files(orders: list[Order], paths: list[Path], *, as_json: bool) -> None:
    # As in `draw`.
    from render.produce import produce
    from trueraster.options.orders import made_json, made_row

    made = []
    with progress("drawing", quiet=as_json) as show:
        for i, (order, path) in enumerate(zip(orders, paths, strict=True)):

            def step(words: str, share: float, i: int = i, name: str = path.name) -> None:
                interrupt.check()
                show(f"{name}: {words}", (i + share) / len(orders))

            made.append(produce(order, path, step))
    if as_json:
        put_json({"files": [made_json(item.order, item.path, item.sha256, item.proof) for item in made]})
    else:
        rows = [("file", "proof", "samples compared"), *(made_row(item.path, item.proof) for item in made)]
        put_text(columns(rows, right=(2,)))
    cautions = [*orders[0].format.cautions]
    for order in orders:
        cautions += order.pattern.cautions_in(order.format, order.options)
    for caution in dict.fromkeys(cautions):
        note(f"Caution: {caution}")


def _paths(orders: list[Order], to: str) -> list[Path]:
    # As in `draw`.
    from render.produce import default_name

    if to == "-":
        if len(orders) != 1 or orders[0].carrier.name != "y4m":
            raise UsageError("--to -: only one pattern, as y4m, can go to standard output")
        return []
    if not to.strip():
        raise UsageError("--to: got nothing; give a folder or a file name")
    target = Path(to)
    suffixes = {order.carrier.suffix for order in orders}
    if target.suffix.lower() in _MEDIA and not target.is_dir():
        if len(orders) > 1:
            raise UsageError(
                f"--to: {target.name} is one file, but there are {len(orders)} to write; give a folder, or one kind of"
                " file with --as"
            )
        if target.suffix.lower() not in suffixes:
            raise UsageError(f"--to: {target.name} must end in {suffixes.pop()} for {orders[0].carrier.name}")
        return [target]
    if target.exists() and not target.is_dir():
        raise UsageError(f"--to: {target} exists and is not a folder")
    paths = [target / default_name(order) for order in orders]
    if len(set(paths)) < len(paths):
        twice = next(path.name for path in paths if paths.count(path) > 1)
        raise UsageError(
            f"two patterns would make the same file, {twice}; draw them separately, with two folders for --to"
        )
    return paths


def _to_standard_output(order: Order) -> None:

    # As in `draw`.
    from render.produce import produce

    # The proof comes first here too: frames that were sent cannot be taken back.
    with tempfile.TemporaryDirectory() as folder:
        made = produce(order, Path(folder) / "frames.y4m")
        with made.path.open("rb") as file, reader_may_go():
            shutil.copyfileobj(file, sys.stdout.buffer)
            sys.stdout.buffer.flush()
