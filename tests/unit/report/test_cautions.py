from __future__ import annotations

import pytest

from pinseat.report.cautions import ALWAYS, cautions


def said(case, **chain) -> str:
    return " ".join(cautions(case.model_copy(update={"chain": case.chain.model_copy(update=chain)})))


@pytest.mark.parametrize(
    ("word", "chain", "applies"),
    [
        ("cyanide bath", {"die": "silver plated"}, True),
        ("Silver cyanide", {"die": "gypsum"}, False),
        ("Plating", {"die": "copper plated"}, True),
        ("Silver cyanide", {"die": "copper plated"}, False),
        ("Plating", {"die": "epoxy"}, False),
        ("beryllium", {"alloy": "nickel chromium"}, True),
        ("beryllium", {"alloy": "gold type 3"}, False),
        ("Pickling", {"alloy": "gold type 3"}, True),
        ("Pickling", {"alloy": "cobalt chromium"}, False),
        ("asbestos", {}, True),
        ("silica", {}, True),
        ("fumes", {}, True),
    ],
)
def test_only_hazards_of_this_chain_are_named(home, word: str, chain: dict[str, str], applies: bool) -> None:
    assert (word in said(home.case, **chain)) is applies


def test_the_general_cautions_always_lead(home) -> None:
    assert cautions(home.case)[: len(ALWAYS)] == ALWAYS
    assert ALWAYS[0].startswith("Not a medical device")
