from pinseat.case.lines import line_of, lines_of

TEXT = '''\
# a remark with [brackets] and a = 1
number = "7"
title = """
[scan]
tooth = 1
"""
scan.file = "x"
missing = [
  21,
  22,  # ] not the end
]
[[abutments]]
tooth = 11
[callipers]
layout = [
  { tooth = 11, at = [1, 2] },

  { tooth = 12 },
]
[[callipers.readings]]
mm = [1]
[[abutments]]
"tooth" = 22
[[abutments.deep]]
a = 1
'''


def test_each_key_is_found_on_its_line() -> None:
    places = lines_of(TEXT)
    lines = TEXT.split("\n")
    for place, start in [
        (("number",), "number ="),
        (("scan", "file"), "scan.file"),
        (("missing",), "missing ="),
        (("abutments", 0, "tooth"), "tooth = 11"),
        (("callipers", "layout", 1), "  { tooth = 12"),
        (("callipers", "readings", 0, "mm"), "mm ="),
        (("abutments", 1, "tooth"), '"tooth"'),
        (("abutments", 1, "deep", 0, "a"), "a = 1"),
    ]:
        assert lines[places[place] - 1].startswith(start)


def test_what_stands_in_a_text_of_several_lines_is_no_key() -> None:
    assert ("scan", "tooth") not in lines_of(TEXT)
    assert ("tooth",) not in lines_of(TEXT)


def test_the_nearest_thing_around_stands_for_what_cannot_be_found() -> None:
    places = lines_of(TEXT)
    assert line_of(places, ("callipers", "layout", 0, "at", 1)) == places[("callipers", "layout", 0)]
    assert line_of(places, ("nothing", "here")) is None
