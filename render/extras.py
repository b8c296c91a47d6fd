"""What a file may carry beside what its kind of file and its format usually say."""

from __future__ import annotations

from dataclasses import dataclass, replace

from patterns.standards.colour import Primaries, Transfer
from render.tags import Tags

__all__ = ["USUAL", "Extras"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Extras:
    """Asked for one command, and the same for all its files. The codes of the picture are the same with and without."""

    for_display: bool = False
    """Whether the file says the colours of a computer's display, so that a colour-managed player has nothing to
    convert, and not those of the format."""
    tone: bool = False
    """Whether a clip has a tone of 1 kHz beside its picture."""

    def tags(self, tags: Tags, *, is_still: bool) -> Tags:
        """What the file says: of a display BT.709's primaries, which are sRGB's too, and a transfer.

        Players convert a clip that says sRGB to BT.709, and leave one alone that says BT.709 (measured in
        tests/test_players.py); a viewer of stills shows sRGB.
        """
        if not self.for_display:
            return tags
        return replace(tags, primaries=Primaries.BT709, transfer=Transfer.SRGB if is_still else Transfer.BT709)

    @property
    def words(self) -> tuple[str, ...]:
        """What a file's name says of it."""
        return (*(("display",) if self.for_display else ()), *(("tone",) if self.tone else ()))

    @property
    def stated(self) -> dict[str, object]:
        """What a manifest and `--json` say of it."""
        return {"primaries": "display" if self.for_display else "format", "tone": self.tone}


USUAL = Extras()
"""Nothing beside what a file usually says."""
