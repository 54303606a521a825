from orchard.api.remembered import reading_once, remembered

asked = []


@remembered
def read(*, name: str) -> str:
    asked.append(name)
    return name.upper()


def test_a_read_is_done_once_inside_and_anew_outside():
    asked.clear()

    read(name="copper")
    with reading_once():
        assert [read(name="copper"), read(name="copper"), read(name="oil")] == ["COPPER", "COPPER", "OIL"]
    read(name="copper")

    assert asked == ["copper", "copper", "oil", "copper"]
