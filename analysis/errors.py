"""The mistake that analysis tells about what it was given, without the names that somebody typed it under."""

from __future__ import annotations

from collections.abc import Sequence

__all__ = ["InputError"]


class InputError(ValueError):
    """Something that was given does not go with the rest; the message is one line.

    A command line names options and a page names fields, so the message names neither: who takes the input does, by
    these attributes.

    Attributes:
        fields: the values at fault, as the request calls them: 'marks_mm'.
        helps: values that would help, which the message asks for at its end.
    """

    def __init__(self, words: str, *, fields: Sequence[str] = (), helps: Sequence[str] = ()) -> None:
        super().__init__(words)
        self.fields, self.helps = tuple(fields), tuple(helps)
