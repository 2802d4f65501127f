from dashboard.address import address, chosen, whole_number


def test_an_address_holds_the_filters_that_are_set():
    assert address("/drift", model="LARK-25", position="", weeks=None) == "/drift?model=LARK-25"
    assert address("/drift") == "/drift"
    assert address("/drift", fault="buzz & rattle") == "/drift?fault=buzz+%26+rattle"


def test_an_address_edited_by_hand_falls_back_to_the_default():
    assert chosen("WREN-S", ["WREN-S", "LARK-25"], "LARK-25") == "WREN-S"
    assert chosen("nonsense", ["WREN-S", "LARK-25"], "LARK-25") == "LARK-25"
    assert chosen(["WREN-S"], ["WREN-S"], None) is None
    assert whole_number("13", 1, 52, 4) == 13
    assert whole_number("1e9", 1, 52, 4) == 4
    assert whole_number("400", 1, 52, 4) == 4
