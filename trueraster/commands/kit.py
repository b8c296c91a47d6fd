"""`kit`: the whole check-up, in the order of work."""

from __future__ import annotations

from pathlib import Path

import click

from analysis.rounding import counted
from patterns.catalogue import find_pattern
from render.carriers import CARRIERS
from trueraster import interrupt
from trueraster.errors import is_full
from trueraster.kit.make import CUE_SHEET_NAME, PLAYLIST_NAME, make_kit
from trueraster.kit.manifest import MANIFEST_NAME
from trueraster.kit.plan import left_out, plan_kit
from trueraster.kit.rates import check_line_rates, line_rates_note, parse_line_rates, understood_note
from trueraster.options.orders import check_tagged, clips_text, extras_of, length_note, made_json, made_row
from trueraster.options.shared import as_json_option
from trueraster.options.trade import Kind, meant, word_note
from trueraster.options.values import UsageError, carrier_of, format_of
from trueraster.output.terminal import columns, note, progress, put_json, put_text

__all__ = ["kit"]


@click.command()
@click.option("--format", "-f", "formats", multiple=True, help="As 480i; may be repeated.  [default: 480i]")
@click.option("--as", "carrier", default="h264", show_default=True, help="Kind of file, as of draw.")
@click.option("--to", default="outputs/kit", show_default=True, help="Folder of the kit.")
@click.option(
    "--seconds",
    type=float,
    help="Length of each clip.  [default: h264 60 (zone-plate-moving 10), else by the kind of file]",
)
@click.option("--aspect", help="Picture aspect: 4:3 or 16:9; any for a free raster.")
@click.option(
    "--line-rates",
    help="What the set accepts, in kHz, as 15.6-15.8,31-32; or its class, 15kHz or 31kHz.",
)
@click.option("--with", "extra", multiple=True, metavar="ID", help="Add a pattern that is in no kit unless asked.")
@click.option("--tagged", is_flag=True, help="Colour tags in full-range PNG too; a viewer then converts its codes.")
@click.option("--primaries", help="format or display: which colours a file says that it has.  [default: format]")
@click.option("--tone", is_flag=True, help="1 kHz in clips: -18 dBFS at 625 lines and 50 Hz, else -20.")
@as_json_option
def kit(
    formats: tuple[str, ...],
    carrier: str,
    to: str,
    seconds: float | None,
    aspect: str | None,
    line_rates: str | None,
    extra: tuple[str, ...],
    tagged: bool,
    primaries: str | None,
    tone: bool,
    as_json: bool,
) -> None:
    """Make the whole check-up, in the order of work.

    Every pattern that suits each format, as numbered and proved files, with playlists, a cue sheet to work by and a
    manifest. Run it again to go on after a stop: files that are there and good are kept.
    """
    chosen = list({fmt.id: fmt for fmt in (format_of(text, aspect) for text in formats or ("480i",))}.values())
    accepted = None if line_rates is None else parse_line_rates(line_rates)
    if accepted is not None:
        check_line_rates(chosen, accepted)
    carrier = carrier_of(carrier, tuple(CARRIERS))
    if seconds is not None and not 0 < seconds <= 86_400:
        raise UsageError(f"--seconds: got {seconds:g}, allowed are above 0 and up to 86400 (a day)")
    named = [find_pattern(meant(Kind.PATTERN, name)) for name in dict.fromkeys(extra)]
    check_tagged(tagged, [CARRIERS[carrier]])
    extras = extras_of(primaries, tone, seconds, [CARRIERS[carrier]])
    planned = plan_kit(chosen, CARRIERS[carrier], seconds=seconds, extra=named, tagged=tagged, extras=extras)
    items = planned.items
    folder = Path(to)
    if not to.strip() or to == "-" or (folder.exists() and not folder.is_dir()):
        raise UsageError(f"--to: a folder is expected, got {to[:60]!r}")
    note(line_rates_note(chosen) if accepted is None else understood_note(accepted))
    for words in dict.fromkeys(length_note(seconds, [CARRIERS[carrier]], fmt) for fmt in chosen):
        if words:
            note(f"Note: {words}")
    for words in filter(None, (word_note(Kind.FORMAT, text) for text in formats)):
        note(f"Note: {words}")
    if CARRIERS[carrier].note:
        note(f"Note: {carrier}: {CARRIERS[carrier].note}")
    for words in planned.notes:
        note(f"Note: {words}")
    moving = left_out(chosen, CARRIERS[carrier], named)
    if moving:
        ids = ", ".join(pattern.id for pattern in moving)
        note(f"Note: left out, since they move and {carrier} is a still: {ids}. Clips show them: {clips_text()}")

    with progress("making the kit", quiet=as_json) as tell:

        def step(words: str, share: float) -> None:
            interrupt.check()
            tell(words, share)

        interrupt.say_when_stopped(f"what is finished in {folder} stays; the same command goes on")
        try:
            made = make_kit(items, folder, step, note, accepted=accepted)
        except OSError as error:
            if not is_full(error):
                raise
            words = "what is finished stays, and with more room the same command goes on"
            raise OSError(f"{folder}: No space left on device; {words}") from error

    paths = {entry.path: folder / entry.path for entry in made.entries}
    if made.earlier:
        note(
            f"Note: {counted(len(made.earlier), 'file')} of an earlier kit in the folder; the playlist has none of"
            f" them. The first is {made.earlier[0]}"
        )
    if as_json:
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
        return
    rows = [("file", "proof", "samples compared", "made")]
    for entry in made.entries:
        kept = "before" if entry.path in made.reused else "now"
        rows.append((*made_row(paths[entry.path], entry.proof), kept))
    put_text(columns(rows, right=(2,)))
    put_text(f"\nCue sheet: {folder / CUE_SHEET_NAME}\nPlaylist:  {folder / PLAYLIST_NAME}")
