from __future__ import annotations

from pinseat.case.model import Case
from pinseat.reference import recording, value
from pinseat.report.assumptions import assumptions


def test_nothing_published_or_measured_is_listed(home) -> None:
    listed = assumptions(home.case, home.survey, home.casting)
    assert {a.basis for a in listed} == {"assumed", "from memory", "common practice"}
    assert not any("ring gauge" in a.source or "silver dies" in a.source for a in listed)


def test_every_other_ledger_entry_is_listed_once(home) -> None:
    listed = assumptions(home.case, home.survey, home.casting)
    for name in ("scale", "position", "tilt", "depth"):
        entries = [(row.copy, getattr(row, name)) for row in home.casting.fit.rows]
        wanted = sorted(copy for copy, e in entries if e.basis not in ("published", "measured here"))
        heads = [a.what.removeprefix(f"{name} of ") for a in listed if a.what.startswith(f"{name} of ")]
        assert sorted(", ".join(heads).split(", ")) == wanted


def test_values_keep_their_unit_and_source(home) -> None:
    scale = next(
        a for a in assumptions(home.case, home.survey, home.casting) if a.what == "scale of impression"
    )
    assert (scale.value, scale.basis) == ("−0.155 ± 0.035 %", "from memory")
    assert scale.source.startswith("Craig")


def test_what_the_case_states_is_no_assumption(home) -> None:
    stated = home.case.model_dump(by_alias=True)
    said = [a.what for a in assumptions(Case.model_validate(stated), home.survey, home.casting)]
    left = [a.what for a in assumptions(home.case, home.survey, home.casting)]
    defaults = {
        "cast pin stops short of the floor, 11, 22",
        "point about which a copied pin tilts",
        "wanted chance of going home",
    }
    assert set(left) - set(said) == defaults


def test_faces_nobody_picked_are_listed_by_kind(home) -> None:
    listed = assumptions(home.case, home.survey, home.casting)
    margin = next(a for a in listed if "margin" in a.what)
    assert (margin.value, margin.source) == ("2 places", "from crown size")


def test_values_that_were_looked_up_are_listed_unless_published_or_in_the_ledger(home) -> None:
    with recording() as used:
        value("seat.largest_clearance_um")  # assumed
        value("crown.11.mesiodistal_mm")  # published
        value("ledger.die.gypsum.position_um")  # listed by its ledger row when the route is taken
    looked_up = [value(name) for name in sorted(used)]
    more = assumptions(home.case, home.survey, home.casting, looked_up)
    plain = assumptions(home.case, home.survey, home.casting)
    assert [a.value for a in more[len(plain) :]] == ["150 µm"]
