"""A long table: its order and page by the address, rows without a figure last, links that keep the address."""

from dashboard.tables import PAGE_ROWS, leaf, leaf_at, leafed
from tests.dashboard.pages.said import said

ROWS = [
    {"what": f"row {k}", "n": str(k), "n_at": None if k == 7 else float(k), "href": f"/there?k={k}"} for k in range(60)
]
COLUMNS = [("what", "What"), ("n", "How many", "n")]


def shown(**asked):
    table = leafed(ROWS, COLUMNS, "many", "/page", asked)
    body = table.children[0].children.children[1]
    return [row.children[0].children.children for row in body.children], said(table)


def test_a_page_holds_so_many_rows_in_their_own_order():
    names, text = shown()
    assert names == [f"row {k}" for k in range(PAGE_ROWS)]
    assert f"1 to {PAGE_ROWS} of 60" in text
    assert '"Before"' not in text


def test_a_heading_sorts_largest_first_then_smallest_and_keeps_the_address():
    names, text = shown(sort="-n", model="LARK")
    assert names[:2] == ["row 59", "row 58"]
    assert "/page?sort=n&model=LARK" in text
    assert '"aria-sort": "descending"' in text
    assert shown(sort="n")[0][:2] == ["row 0", "row 1"]


def test_rows_without_a_figure_stand_last_whichever_way():
    assert shown(sort="n", page="5")[0][-1] == "row 7"
    assert shown(sort="-n", page="5")[0][-1] == "row 7"


def test_an_edited_address_falls_back_to_the_first_page_and_the_own_order():
    assert shown(sort="nonesuch", page="99")[0][0] == "row 0"


def test_a_table_of_its_own_order_leafs_and_keeps_what_was_asked():
    first, ways = leaf(100, 36, "many", "/page", {"model": "LARK", "page": "2"})
    text = said(ways[0])
    assert first == 36
    assert "37 to 72 of 100" in text
    assert "/page?model=LARK&page=3" in text
    assert '"/page?model=LARK"' in text  # the way back to the first
    assert leaf(100, 36, "many", "/page", {"page": "99"})[0] == 0
    assert leaf(36, 36, "many", "/page", {}) == (0, [])


def test_pages_of_unlike_length_are_leafed_by_where_they_begin():
    first, end, ways = leaf_at([0, 2, 3], 5, "x", "/x", {"page": "2"})
    assert (first, end) == (2, 3)
    assert "3 to 3 of 5" in said(ways)
    assert leaf_at([0], 0, "x", "/x", {})[2] == []
    assert leaf_at([0, 2, 3], 5, "x", "/x", {"page": "9"})[:2] == (0, 2)
