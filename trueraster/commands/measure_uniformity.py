"""`measure uniformity`: how even plain fields are, from photographs."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import click

from analysis.frame.picture.marked import write_marked
from analysis.photo.file import Photo, read_photo
from analysis.uniformity.answer import uniformity_answer
from analysis.uniformity.measure import Uniformity, measure_uniformity
from analysis.uniformity.picture import uniformity_picture
from render.reading import check_plain
from trueraster import interrupt
from trueraster.errors import UsageError
from trueraster.options.declared import as_value
from trueraster.options.keep import KeepOptions, keeping_of
from trueraster.options.shared import as_json_option
from trueraster.options.values import format_of
from trueraster.output.answers import put_answer
from trueraster.output.files import Targets, targets_of
from trueraster.output.terminal import progress

__all__ = ["uniformity"]

_MOST_PHOTOS = 4
"""One of each field: white, red, green and blue."""


@click.command()
@click.argument("photos", nargs=-1, required=True, metavar="PHOTO...", type=click.Path(path_type=Path))
@click.option(
    "--flat-field",
    type=click.Path(path_type=Path),
    metavar="PHOTO",
    help="An evenly lit surface, same camera and settings: removes the camera's own loss of light.",
)
@click.option(
    "--ambient",
    type=click.Path(path_type=Path),
    metavar="PHOTO",
    help="The same view with the set off, same settings: removes the room's light.",
)
@click.option("--format", "-f", "typed_format", help="What was played: says how many fields were drawn.")
@click.option(
    "--picture", type=click.Path(path_type=Path), metavar="OUT.png", help="Write the photographs with figures."
)
@as_value("keep", KeepOptions)
@as_json_option
def uniformity(
    photos: tuple[Path, ...],
    flat_field: Path | None,
    ambient: Path | None,
    typed_format: str | None,
    picture: Path | None,
    keep: KeepOptions,
    as_json: bool,
) -> None:
    """Measure fall-off of light, purity of colour and blotches on plain fields.

    Give one photograph of each field: white, red, green, blue, or some of them ('draw field --colour red'). Which is
    which is seen. The whole face has to be in view with a dark border around it, in a dark room, not clipped, and with
    white balance and exposure fixed. All figures are relative to the middle of the picture.
    """
    if len(photos) > _MOST_PHOTOS:
        raise UsageError(f"{len(photos)} photographs are too many; give one each of a white, red, green and blue field")
    rate = None if typed_format is None else float(format_of(typed_format, None).field_rate)
    inputs = [*(path for path in (flat_field, ambient) if path is not None), *photos]
    targets_of(Targets(picture=picture), inputs)
    keeping = keeping_of(keep, photos)
    for path in inputs:
        check_plain(path)
    flat = None if flat_field is None else read_photo(flat_field)
    room = None if ambient is None else read_photo(ambient)
    with progress("measuring", quiet=as_json) as tell:

        def read() -> Iterator[Photo]:
            for i, path in enumerate(photos):
                interrupt.check()
                tell(path.name, i / len(photos))
                yield read_photo(path)

        found = measure_uniformity(read(), flat, room, rate)
    files = {}
    if picture is not None:
        _write(picture, found)
        files["picture"] = picture
    put_answer(uniformity_answer(found), files, as_json=as_json, keeping=keeping)


def _write(picture: Path, found: Uniformity) -> None:
    # Read once more rather than kept: four photographs at once may be too much.
    write_marked(picture, uniformity_picture(found, lambda field: read_photo(field.path)))
