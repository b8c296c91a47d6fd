"""`measure lens`: a camera's lens, from photographs of the printed board."""

from __future__ import annotations

from pathlib import Path

import click

from analysis.lens.answer import lens_answer
from analysis.lens.board import find_board
from analysis.lens.calibrate import FEWEST_PHOTOS, calibrate
from analysis.lens.file import save_lens
from analysis.photo.file import read_photo
from analysis.rounding import counted
from render.reading import check_plain
from trueraster import interrupt
from trueraster.errors import UsageError
from trueraster.options.declared import as_value
from trueraster.options.keep import KeepOptions, keeping_of
from trueraster.options.shared import as_json_option
from trueraster.output.answers import put_answer
from trueraster.output.files import check_target
from trueraster.output.terminal import progress

__all__ = ["lens"]

_MOST_PHOTOS = 200
"""More is a slip, such as a whole folder of other pictures."""


@click.command()
@click.argument("photos", nargs=-1, required=True, metavar="PHOTO...", type=click.Path(path_type=Path))
@click.option(
    "--to", type=click.Path(path_type=Path), default="outputs/lens.json", show_default=True, help="Lens file."
)
@as_value("keep", KeepOptions)
@as_json_option
def lens(photos: tuple[Path, ...], to: Path, keep: KeepOptions, as_json: bool) -> None:
    """Calibrate a camera's lens from photographs of the board.

    Print 'trueraster sheet board', glue it flat, and take 5 to 20 photographs of it with the zoom and focus of the
    photograph of the screen: from the front, the left, the right, above and below, near the picture's corners too.
    """
    check_target("--to", to, (".json",), photos)
    if len(photos) < FEWEST_PHOTOS:
        raise UsageError(
            f"{counted(len(photos), 'photograph')} of the board: at least {FEWEST_PHOTOS} are needed, 10 are good"
        )
    if len(photos) > _MOST_PHOTOS:
        raise UsageError(f"{len(photos)} photographs are too many, at most {_MOST_PHOTOS} are taken, 10 are good")
    keeping = keeping_of(keep, photos)
    for path in photos:
        check_plain(path)
    seen, missed = [], []
    with progress("calibrating", quiet=as_json) as tell:
        for i, path in enumerate(photos):
            interrupt.check()
            tell(path.name, i / len(photos))
            sighting = find_board(read_photo(path))
            if sighting is None:
                missed.append(path)
            else:
                seen.append(sighting)
    found = calibrate(seen, missed)
    save_lens(found.lens, to)
    put_answer(lens_answer(found, to), {"lens": to}, as_json=as_json, keeping=keeping)
