"""What a check could not look at has a name in words, whatever part of a request was left out."""

from mixing.gaps import of_request
from mixing.request_reading import read_request
from orchard.web.office.gaps import IN_WORDS, in_words

BARE = {"id": "7", "label": {"name": "Mineral oil 98 EC"}, "rate": {"value": "1", "unit": "percent_vv"}}


def test_every_part_of_a_request_that_may_be_left_out_has_a_name():
    bare = read_request({"crop": "peach", "sprayer": {"kind": "backpack"}, "products": [BARE]})

    missing = [one.what for one in of_request(bare)]

    assert len(missing) > 10 and [one for one in missing if one not in IN_WORDS] == []


def test_a_gap_in_a_label_names_the_product():
    told = in_words("label.density:7", names={"7": "Mineral oil 98 EC"})

    assert told == "label of Mineral oil 98 EC: density"
