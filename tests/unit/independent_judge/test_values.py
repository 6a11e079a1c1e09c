from interlock.independent_judge.values import Values, View


def test_values_are_looked_at_anew_but_where_nothing_changes() -> None:
    looked: list[Values] = []

    def look() -> Values:
        looked.append(Values({"at": len(looked)}, {}))
        return looked[-1]

    view = View(look)
    assert [view.now()["at"] for _ in range(2)] == [0, 1]
    with view.unchanged():
        assert [view.now()["at"] for _ in range(3)] == [2, 2, 2]
    assert view.now()["at"] == 3
    with view.unchanged():
        assert view.now()["at"] == 4
    assert len(looked) == 5
