"""The fields of a set of colours: which guns each lights, and what it is called."""

from __future__ import annotations

from analysis.meter.readings.types import Field

__all__ = ["MIXED", "PARTS", "PRIMARIES", "SECONDARIES", "name_of"]

PRIMARIES = (Field.RED, Field.GREEN, Field.BLUE)
SECONDARIES = (Field.CYAN, Field.MAGENTA, Field.YELLOW)
PARTS = {
    Field.RED: (1, 0, 0),
    Field.GREEN: (0, 1, 0),
    Field.BLUE: (0, 0, 1),
    Field.CYAN: (0, 1, 1),
    Field.MAGENTA: (1, 0, 1),
    Field.YELLOW: (1, 1, 0),
    Field.GREY: (1, 1, 1),
}
"""Which guns are lit."""
MIXED = (*SECONDARIES, Field.GREY)
"""What is made of several guns; grey is white here."""


def name_of(field: Field) -> str:
    """What a field is called here: grey at the level of the colours is white."""
    return "white" if field is Field.GREY else str(field)
