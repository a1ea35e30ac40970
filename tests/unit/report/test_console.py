from __future__ import annotations

import pytest

from pinseat.report.console import WIDTH, summary


def lines(made) -> list[str]:
    text = summary(
        made.case, made.scan, made.survey, made.casting, made.seating, report="front/results/report.pdf"
    )
    return text.plain.splitlines()


@pytest.mark.parametrize("name", ["home", "binds", "unknown", "twelve"])
def test_it_fits_one_screen(name: str, request) -> None:
    printed = lines(request.getfixturevalue(name))
    assert len(printed) <= 32
    assert max(map(len, printed)) <= WIDTH


@pytest.mark.parametrize(
    ("name", "wanted"),
    [
        (
            "home",
            [
                "GOES HOME",
                "96.200 ± 0.096 %",
                "up to 94 µm in 90 of 100",
                "one draw serves all pins",
                "report.pdf",
            ],
        ),
        ("binds", ["WILL BIND", "no draw serves all pins, 0.42 ± 0.14° short", "Widen the hole of pin 11-1"]),
        ("unknown", ["CANNOT TELL", "calliper readings", "not seen", "splay of pin 11-1"]),
        ("twelve", ["WILL BIND", "13 (6)", "more in the result files", "> 99.99"]),
    ],
)
def test_it_says_what_matters(name: str, wanted: list[str], request) -> None:
    printed = "\n".join(lines(request.getfixturevalue(name)))
    assert [text for text in wanted if text not in printed] == []


def test_the_worst_finding_is_printed_first(binds) -> None:
    heads = [line.split()[0] for line in lines(binds) if line.startswith(("  stop", "  caution"))]
    assert heads == ["stop", "caution", "caution"]


def test_it_ends_where_the_work_did(home) -> None:
    text = summary(home.case, home.scan, home.survey, None, None).plain
    assert "one draw serves all pins" in text
    assert [word for word in ("GOES HOME", "net scale", "change 1", "report") if word in text] == []
    assert "301\u202f224 triangles" in summary(home.case, home.scan, None, None, None).plain
