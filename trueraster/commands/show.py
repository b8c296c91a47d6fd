"""`show`: patterns on the output that feeds the set, codes untouched up to the framebuffer."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from patterns.signal import Range
from trueraster import interrupt
from trueraster.errors import UsageError
from trueraster.options.daily import DailyFirst
from trueraster.options.shared import as_json_option, pattern_options
from trueraster.options.trade import Kind, options_with, word_note
from trueraster.options.values import choice, format_of, options_of, pattern_of
from trueraster.output.terminal import columns, note, put_json, put_text

if TYPE_CHECKING:
    from patterns.formats import Format
    from trueraster.show.screen import Screen
    from trueraster.show.slide import Slide

__all__ = ["show"]

BEHIND = (
    "What the output does behind the framebuffer (range, colour ramps, dither) cannot be read from here: capture what"
    " arrives at the set and check it with 'trueraster verify'"
)


@click.command(
    cls=DailyFirst,
    daily=("--format", "--output", "--range"),
    short_help="Show patterns on the output that feeds the set.",
)
@click.argument("names", nargs=-1, metavar="PATTERN...")
@click.option("--format", "-f", "fmt", help="Such as 480p or 1024x768@60.  [default: by the output's size and rate]")
@click.option("--aspect", help="Picture aspect: 4:3 or 16:9; any for a free raster.")
@click.option("--output", type=int, metavar="N", help="Which output, by its number in --list.  [default: the last]")
@click.option("--range", "code_range", help="full, or narrow for an output set to video levels.  [default: full]")
@click.option(
    "--line-rates", help="What the set accepts, such as 15kHz or 15.6-15.8,31-32 (kHz); other modes are refused."
)
@click.option("--record", type=click.Path(path_type=Path), help="The set's record; what it does not accept is refused.")
@click.option("--list", "listed", is_flag=True, help="List the outputs with their size and rate.")
@pattern_options
@as_json_option
def show(
    names: tuple[str, ...],
    fmt: str | None,
    aspect: str | None,
    output: int | None,
    code_range: str | None,
    line_rates: str | None,
    record: Path | None,
    listed: bool,
    as_json: bool,
    **typed: str | None,
) -> None:
    """Show patterns in full screen on one output, one sample to one pixel, in the order of work that is typed.

    The output's mode is never changed: set it to the format first ('trueraster timing FORMAT' has its mode line). A
    pattern that has been up for its longest time gives way to black. Keys: right and left, a number and Enter, b for
    black, q to end.
    """
    # The help does without the window and numpy: 300 ms.
    from trueraster.show.accepts import accepted_rates, check_accepted
    from trueraster.show.screen import KEYS_TEXT, Screen

    if listed:
        _list(as_json)
        return
    if not names:
        raise UsageError("PATTERN: name what to show, such as crosshatch; 'trueraster patterns' lists them")
    ranged = Range(choice("--range", code_range, tuple(Range)) or Range.FULL)
    given = {name: pattern_of(name) for name in names}
    chosen = None if fmt is None else format_of(fmt, aspect)
    accepted = accepted_rates(line_rates, record)
    screen = Screen(output)
    try:
        slides, words = _slides(screen, list(given), chosen, aspect, ranged, typed)
        if accepted is not None:
            check_accepted(slides[0].format, screen.output, accepted)
        note(f"Output {screen.output.words}; {words}. {ranged} range. {BEHIND}.")
        _say(screen, slides, [word_note(Kind.PATTERN, name) for name in given])
        note(f"{KEYS_TEXT}.")
        _run(screen, slides)
    finally:
        screen.close()
    if as_json:
        shown = [{"pattern": one.pattern.id, "format": one.format.id, "range": ranged.value} for one in slides]
        put_json({"output": screen.output.number, "shown": shown})


def _list(as_json: bool) -> None:
    # As in `show`.
    from trueraster.show.outputs import format_for, open_display, outputs

    open_display()
    found = [(one, format_for(one)[0].id) for one in outputs()]
    if as_json:
        keys = ("number", "width", "height", "rate_hz")
        listed = [{**{key: getattr(one, key) or None for key in keys}, "format": name} for one, name in found]
        put_json({"outputs": listed})
    else:
        head = ("output", "size", "rate", "format")
        rows = [(str(o.number), f"{o.width} x {o.height}", f"{o.rate_hz or '?'} Hz", name) for o, name in found]
        put_text(columns([head, *rows]))


def _slides(
    screen: Screen,
    names: list[str],
    chosen: Format | None,
    aspect: str | None,
    code_range: Range,
    typed: dict[str, str | None],
) -> tuple[list[Slide], str]:
    """The slides in the order of typing, and words that say in which format."""
    # As in `show`.
    from trueraster.show.outputs import format_for
    from trueraster.show.slide import slide_of

    fmt, words = (chosen, f"format {chosen.id}") if chosen else format_for(screen.output)
    if chosen is None and aspect is not None:
        fmt = format_of(fmt.id, aspect)
    given = options_of(typed)
    patterns = [pattern_of(name) for name in names]
    taken = {one for pattern in patterns for one in pattern.takes}
    slides = []
    for name, pattern in zip(names, patterns, strict=True):
        # Each takes the options meant for it, and refuses what is meant for none.
        own = options_with(name, given.without(taken.difference(pattern.takes)))
        slides.append(slide_of(pattern, own, fmt, code_range))
        if fmt.interlaced and not pattern.scene(fmt, own).is_still:
            raise UsageError(
                f"{pattern.id}: it moves field by field, and an output shows whole frames; play the clip that"
                f" 'trueraster draw {pattern.id} --format {fmt.id}' makes"
            )
    return slides, words


def _say(screen: Screen, slides: list[Slide], words: list[str]) -> None:
    """Everything that a user should know before the first picture is up."""
    # As in `show`.
    from trueraster.show.words import lost_words

    fmt = slides[0].format
    cautions = [*fmt.cautions]
    for one in slides:
        cautions += one.pattern.cautions_in(fmt, one.options)
        words = [*words, lost_words(one)]
    if fmt.interlaced:
        words = [*words, f"{fmt.id}: the output's mode has to be an interlaced one, to send each frame as two fields"]
    for said in dict.fromkeys(filter(None, [*words, *(screen.place.banner(fmt))])):
        note(f"Note: {said}")
    for caution in dict.fromkeys(cautions):
        note(f"Caution: {caution}")
    for i, one in enumerate(slides, 1):
        note(f"{i}: {one.pattern.title}, up for {one.pattern.dwell_minutes} min at most")


def _run(screen: Screen, slides: list[Slide]) -> None:
    # As in `show`.
    from trueraster.show.deck import Deck

    def stop() -> bool:
        interrupt.check()
        return False

    screen.run(Deck(slides), stop)
