"""`kit`: the whole check-up, in the order of work."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from analysis.rounding import counted
from patterns.catalogue import find_pattern
from render.carriers import CARRIERS, Carrier
from trueraster import interrupt
from trueraster.errors import is_full
from trueraster.kit.make import CUE_SHEET_NAME, PLAYLIST_NAME, make_kit
from trueraster.kit.manifest import MANIFEST_NAME
from trueraster.kit.plan import Choice, Item, Named, left_out, plan_kit
from trueraster.kit.rates import LineRates, check_line_rates, line_rates_note, parse_line_rates, understood_note
from trueraster.options.daily import DailyFirst
from trueraster.options.orders import check_tagged, clips_text, extras_of, length_note, made_json, made_row
from trueraster.options.shared import as_json_option
from trueraster.options.trade import Kind, meant, word_note, word_options
from trueraster.options.values import UsageError, carrier_of, choice, format_of
from trueraster.output.terminal import columns, note, progress, put_json, put_text

if TYPE_CHECKING:
    from patterns.formats import Format
    from trueraster.kit.make import Kit

__all__ = ["kit"]


@click.command(cls=DailyFirst, daily=("--format", "--quick", "--to"))
@click.option("--format", "-f", "formats", multiple=True, help="Such as 480i,576i; or repeated.  [default: 480i]")
@click.option("--quick", is_flag=True, help="Only the twelve files that most sets need.")
@click.option("--only", multiple=True, metavar="ID", help="Only these patterns, as bars,dots; or repeated.")
@click.option("--with", "extra", multiple=True, metavar="ID", help="Add patterns that the kit would not have.")
@click.option("--without", multiple=True, metavar="ID", help="Leave patterns out.")
@click.option("--as", "carrier", default="h264", show_default=True, help="Kind of file, as of draw.")
@click.option("--to", default="outputs/kit", show_default=True, help="Folder of the kit.")
@click.option("--names", default="long", show_default=True, help="long; or short: eight letters, for old players.")
@click.option(
    "--seconds",
    type=float,
    help="Length of each clip.  [default: h264 60 (zone-plate-moving 10), else by the kind of file]",
)
@click.option("--aspect", help="Picture aspect: 4:3 or 16:9; any for a free raster.")
@click.option(
    "--line-rates",
    help="What the set accepts, in kHz, such as 15.6-15.8,31-32; or its class, 15kHz or 31kHz.",
)
@click.option("--tagged", is_flag=True, help="Colour tags in full-range PNG too; a viewer then converts its codes.")
@click.option("--primaries", help="format or display: which colours a file says that it has.  [default: format]")
@click.option("--tone", is_flag=True, help="1 kHz in clips: -18 dBFS at 625 lines and 50 Hz, else -20.")
@as_json_option
def kit(
    formats: tuple[str, ...],
    quick: bool,
    only: tuple[str, ...],
    extra: tuple[str, ...],
    without: tuple[str, ...],
    carrier: str,
    to: str,
    names: str,
    seconds: float | None,
    aspect: str | None,
    line_rates: str | None,
    tagged: bool,
    primaries: str | None,
    tone: bool,
    as_json: bool,
) -> None:
    """Make the whole check-up, in the order of work.

    Every pattern that suits each format, as numbered and proved files, with playlists, a cue sheet to work by and a
    manifest. Run it again to go on after a stop: files that are there and good are kept.
    """
    typed = _split(formats) or ["480i"]
    chosen = list({fmt.id: fmt for fmt in (format_of(text, aspect) for text in typed)}.values())
    accepted = None if line_rates is None else parse_line_rates(line_rates)
    if accepted is not None:
        check_line_rates(chosen, accepted)
    kind = CARRIERS[carrier_of(carrier, tuple(CARRIERS))]
    if seconds is not None and not 0 < seconds <= 86_400:
        raise UsageError(f"--seconds: got {seconds:g}, allowed are above 0 and up to 86400 (a day)")
    files = Choice(
        quick=quick,
        only=_named("--only", only),
        extra=_named("--with", extra),
        without=_named("--without", without),
    )
    check_tagged(tagged, [kind])
    extras = extras_of(primaries, tone, seconds, [kind])
    planned = plan_kit(chosen, kind, choice=files, seconds=seconds, tagged=tagged, extras=extras)
    short = choice("--names", names, ("long", "short")) == "short"
    items = tuple(replace(item, short=short) for item in planned.items)
    folder = Path(to)
    if not to.strip() or to == "-" or (folder.exists() and not folder.is_dir()):
        raise UsageError(f"--to: a folder is expected, got {to[:60]!r}")
    note(line_rates_note(chosen) if accepted is None else understood_note(accepted))
    noted = [*(length_note(seconds, [kind], fmt) for fmt in chosen), *(word_note(Kind.FORMAT, text) for text in typed)]
    noted += [f"{kind.name}: {kind.note}" if kind.note else "", *planned.notes, _moving_note(chosen, kind, files)]
    for words in dict.fromkeys(filter(None, noted)):
        note(f"Note: {words}")
    made = _made(items, folder, accepted, as_json=as_json)
    if made.earlier:
        note(
            f"Note: {counted(len(made.earlier), 'file')} of an earlier kit in the folder; the playlist has none of"
            f" them. The first is {made.earlier[0]}"
        )
    if as_json:
        _put_json(items, made)
        return
    rows = [("file", "proof", "samples compared", "made")]
    for entry in made.entries:
        kept = "before" if entry.path in made.reused else "now"
        rows.append((*made_row(folder / entry.path, entry.proof), kept))
    put_text(columns(rows, right=(2,)))
    put_text(f"\nCue sheet: {folder / CUE_SHEET_NAME}\nPlaylist:  {folder / PLAYLIST_NAME}")


def _split(typed: Sequence[str]) -> list[str]:
    """What was typed with commas, or repeated."""
    return list(dict.fromkeys(filter(None, (part.strip() for text in typed for part in text.split(",")))))


def _named(option: str, typed: Sequence[str]) -> list[Named]:
    """Patterns by their names, or by words of the trade, which may say a pattern's options too.

    Raises:
        PatternError: there is no such pattern.
        UsageError: the word is known, and there is nothing of the kind here.
    """
    names = _split(typed)
    if typed and not names:
        raise UsageError(f"{option}: give names of patterns; 'trueraster patterns' lists them")
    found = [(find_pattern(meant(Kind.PATTERN, name)), word_options(name)) for name in names]
    return [Named(pattern, options if options.given else None) for pattern, options in found]


def _moving_note(formats: Sequence[Format], kind: Carrier, files: Choice) -> str:
    ids = ", ".join(pattern.id for pattern in left_out(formats, kind, files))
    return ids and f"left out, since they move and {kind.name} is a still: {ids}. Clips show them: {clips_text()}"


def _made(items: Sequence[Item], folder: Path, accepted: Sequence[LineRates] | None, *, as_json: bool) -> Kit:
    with progress("making the kit", quiet=as_json) as tell:

        def step(words: str, share: float) -> None:
            interrupt.check()
            tell(words, share)

        interrupt.say_when_stopped(f"what is finished in {folder} stays; the same command goes on")
        try:
            return make_kit(items, folder, step, note, accepted=accepted)
        except OSError as error:
            if not is_full(error):
                raise
            words = "what is finished stays, and with more room the same command goes on"
            raise OSError(f"{folder}: No space left on device; {words}") from error


def _put_json(items: Sequence[Item], made: Kit) -> None:
    folder = made.folder
    paths = {entry.path: folder / entry.path for entry in made.entries}
    put_json(
        {
            "files": [
                {"number": item.number, **made_json(item.order, paths[entry.path], entry.sha256, entry.proof)}
                for item, entry in zip(items, made.entries, strict=True)
            ],
            "kit": {
                "path": str(folder),
                "cue_sheet": str(folder / CUE_SHEET_NAME),
                "playlist": str(folder / PLAYLIST_NAME),
                "manifest": str(folder / MANIFEST_NAME),
            },
            "reused": [str(paths[entry.path]) for entry in made.entries if entry.path in made.reused],
        }
    )
