"""Tables that quantities describe themselves, and the lines of mistakes about what was given."""

from __future__ import annotations

from analysis.answer import Figure, Quantity, each
from analysis.errors import InputError
from analysis.tables import crossed, listing, tables_of
from trueraster.errors import line_of

LENGTH = Quantity("bow_mm", "bow", "mm", signed=True, beside="bow_percent")
SHARE = Quantity("bow_percent", "bow", "% of height", signed=True)
ANGLE = Quantity("turn", "turn", "degrees")
SIDES = {"left": "left", "right": "right", "top": "top"}


def figure(quantity: Quantity, value: float | None, uncertainty: float | None = 0.02) -> Figure:
    return Figure(quantity, value, None if value is None else uncertainty)


def test_the_same_in_another_unit_is_in_a_column() -> None:
    """Each with the digits of its own uncertainty; what has no other unit has an empty cell."""
    table = listing([figure(LENGTH, 1.234), figure(SHARE, 0.412, 0.003), figure(ANGLE, 0.5)])
    assert table.head == ("figure", "value", "±", "% of height", "unit")
    assert table.rows == (("bow", "+1.23", "0.02", "+0.412", "mm"), ("turn", "0.50", "0.02", "", "degrees"))


def test_the_other_unit_stands_in_where_the_first_is_not_available() -> None:
    """Then no column is needed for it, and a figure that has neither is left out."""
    table = listing([figure(LENGTH, None), figure(SHARE, 0.412, 0.003), figure(ANGLE, None)])
    assert table.head == ("figure", "value", "±", "unit")
    assert table.rows == (("bow", "+0.412", "0.003", "% of height"),)


def of_sides(row: str, unit: str) -> list[Quantity]:
    one = Quantity("", "", unit, table="side", row=row, column="{title}")
    return list(each((one,), SIDES, f"{row}.{{name}}", f"{row} at the {{title}}"))


def test_more_than_two_columns_share_the_largest_uncertainty() -> None:
    """All figures of a row have its digits; one that is not available is a dash, and a row of none is left out."""
    bent, hidden, missing = of_sides("bend", "mm"), of_sides("hidden", "%"), of_sides("size", "mm")
    figures = [
        *(figure(one, 1.111, u) for one, u in zip(bent, (0.004, 0.3, 0.02), strict=True)),
        *(figure(one, value) for one, value in zip(hidden, (2.0, None, 1.0), strict=True)),
        *(figure(one, None) for one in missing),
    ]
    table = crossed(figures, "side")
    assert table.head == ("side", "left", "right", "top", "±", "unit")
    assert table.rows == (
        ("bend", "1.1", "1.1", "1.1", "0.3", "mm"),
        ("hidden", "2.00", "-", "1.00", "0.02", "%"),
    )


def test_two_columns_have_each_its_uncertainty() -> None:
    """In a table with two columns of figures each has its own column of uncertainties."""
    one = Quantity("", "", "mm", table="zone", row="in the middle", column="{title}")
    red, blue = each((one,), {"red": "red", "blue": "blue"}, "zones.{name}", "{title}")
    table = crossed([figure(red, 0.5, 0.1), figure(blue, 0.25, 0.02)], "zone")
    assert table.head == ("zone", "red", "±", "blue", "±", "unit")
    assert table.rows == (("in the middle", "0.50", "0.10", "0.25", "0.02", "mm"),)


def test_a_figure_is_in_the_table_that_its_quantity_names() -> None:
    """Those that records do not keep are in none."""
    hidden = Quantity("terms.x", "coefficient", "mm", kept=False)
    figures = [figure(ANGLE, 1.0), *(figure(one, 1.0) for one in of_sides("bend", "mm")), figure(hidden, 1.0)]
    assert [table.head[0] for table in tables_of(figures)] == ["figure", "side"]
    assert [len(table.rows) for table in tables_of(figures)] == [1, 1]


def test_a_mistake_names_the_options_of_its_values() -> None:
    """Those at fault come first, those that would help last; a mistake of the file alone names none."""
    assert line_of(InputError("too small", fields=("marks_mm",))) == "--marks-mm: too small"
    assert line_of(InputError("a.jpg: count the lines", helps=("hidden",))) == "a.jpg: count the lines (--hidden)"
    assert line_of(InputError("give one", fields=("no_marks", "marks"))) == "--no-marks, --marks: give one"
    assert line_of(InputError("a.jpg: too dark")) == "a.jpg: too dark"
