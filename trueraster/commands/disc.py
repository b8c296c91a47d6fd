"""`disc`: a DVD-Video image of a kit."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from patterns.standards.timing import DISC_SECTOR_BYTES
from trueraster import interrupt
from trueraster.disc.author import is_held, needed_programs
from trueraster.disc.chapters import Disc, check_files, check_size, discs_of
from trueraster.disc.image import needed_library
from trueraster.disc.make import MadeDisc, make_disc
from trueraster.errors import is_full
from trueraster.options.orders import proof_json
from trueraster.options.shared import as_json_option
from trueraster.output.cautions import CAUTIONS
from trueraster.output.files import check_target
from trueraster.output.terminal import columns, note, progress, put_json, put_text, wrapped

__all__ = ["disc"]


@click.command()
@click.argument("kit", type=click.Path(path_type=Path))
@click.option("--to", required=True, type=click.Path(path_type=Path), help="The image, as OUT.iso.")
@as_json_option
def disc(kit: Path, to: Path, as_json: bool) -> None:
    """Make a DVD-Video image of a kit, with a menu.

    KIT is the folder of a kit of mpeg2 clips: trueraster kit --as mpeg2. The disc has one title, whose chapters are the
    kit's files in the order of work. Stills are held until a key is pressed, what moves begins again. A kit of 480i and
    576i gives OUT-525.iso and OUT-625.iso. Every chapter and every page of the menu is read back from the image and
    proved.
    """
    discs = discs_of(kit)
    check_target("--to", to, (".iso",), ())
    wanted = {_target(to, one, discs): one for one in discs}
    for path, one in wanted.items():
        check_target("--to", path, (".iso",), [chapter.path for chapter in one.chapters])
        check_size(one, str(path))
    programs = needed_programs()
    needed_library()
    made = []
    with progress("making the disc", quiet=as_json) as tell:
        for i, (path, one) in enumerate(wanted.items()):

            def step(words: str, share: float, done: int = i) -> None:
                interrupt.check()
                tell(words, (done + share) / len(wanted))

            try:
                check_files(one, lambda words, share: step(words, 0.05 * share))
                made.append(make_disc(one, path, programs, lambda words, share: step(words, 0.05 + 0.95 * share)))
            except OSError as error:
                if not is_full(error):
                    raise
                raise OSError(f"{path}: No space left on device; nothing unfinished was left behind") from error
    if as_json:
        put_json({"images": [_json(image) for image in made]})
        return
    rows = [("image", "chapters", "menu pages", "GB", "worst patch, codes")]
    for image in made:
        size = f"{image.sectors * DISC_SECTOR_BYTES.value / 1e9:.3f}"
        worst = max(proof.patch_error_codes for proof in image.chapters)
        rows.append((str(image.path), str(len(image.chapters)), str(len(image.pages)), size, f"{worst:g}"))
    put_text(columns(rows, right=(1, 2, 3, 4)))
    note(wrapped(f"Caution: {_PHOSPHOR.text} A disc holds a picture until a key is pressed."))


_PHOSPHOR = next(caution for caution in CAUTIONS if caution.title == "Phosphor")


def _target(to: Path, one: Disc, discs: list[Disc]) -> Path:
    return to if len(discs) == 1 else to.with_name(f"{to.stem}-{one.standard}{to.suffix}")


def _json(made: MadeDisc) -> dict[str, Any]:
    aspect = made.disc.format.picture_aspect
    return {
        "path": str(made.path),
        "format": made.disc.format.id,
        "aspect": f"{aspect.numerator}:{aspect.denominator}",
        "bytes": made.sectors * DISC_SECTOR_BYTES.value,
        "sectors": made.sectors,
        "sha256": made.sha256,
        "menu": [{"page": i, "proof": proof_json(proof)} for i, proof in enumerate(made.pages, 1)],
        "chapters": [
            {
                "title": 1,
                "chapter": chapter.number,
                "number": chapter.item.number,
                "pattern": chapter.item.order.pattern.id,
                "seconds": chapter.item.order.seconds,
                "held": is_held(chapter),
                "proof": proof_json(proof),
            }
            for chapter, proof in zip(made.disc.chapters, made.chapters, strict=True)
        ],
    }
