"""Names of a chart's points: each beside its point, clear of the others."""

from pricing.spreadsheet.label_places import label_places


def test_a_name_alone_stands_above():
    """Nothing in the way: above its point."""
    assert label_places([(5, 3)], ["EL84"], [], 10, 6) == ["t"]


def test_names_of_near_points_stand_on_different_sides():
    """Two points a millimetre apart cannot both have their names above."""
    first, second = label_places([(5, 3), (5.1, 3.1)], ["EL84 Tivenshaw", "6V6GT Haldrune"], [], 10, 6)
    assert first != second


def test_a_name_leaves_the_edge_and_the_other_points_alone():
    """At the left edge it stands to the right, and where a nameless point is in the way there, below."""
    assert label_places([(0.05, 5.7)], ["EL84 Tivenshaw"], [], 10, 6) == ["r"]
    assert label_places([(5, 5.7)], ["EL84"], [(5.4, 5.7), (4.6, 5.7)], 10, 6) == ["b"]


def test_every_name_has_a_side():
    """More names than room: a side for each all the same."""
    assert len(label_places([(1, 1)] * 9, ["a long name of a piece"] * 9, [(1, 1)] * 9, 3, 2)) == 9
