"""The loader refuses what is incomplete, and says where."""

import math
import tomllib
from importlib import resources
from typing import get_args

import pytest

from pinseat.case.model import Chain
from pinseat.errors import ReferenceValueError
from pinseat.reference import value, values, version
from pinseat.reference.load import read_files

COMPLETE = {
    "name": '"pin.play_um"',
    "value": "25.0",
    "unit": '"um"',
    "uncertainty": "2.0",
    "conditions": '"a cemented pin"',
    "basis": '"assumed"',
    "reference": '"this test"',
    "note": '"none"',
}


def record(**changed: str) -> str:
    fields = {**COMPLETE, **changed}
    return "[[value]]\n" + "".join(f"{key} = {given}\n" for key, given in fields.items())


def test_complete_record_is_read_field_by_field() -> None:
    found = read_files({"here.toml": record()})["pin.play_um"]
    assert (found.value, found.unit, found.uncertainty, found.basis) == (25.0, "um", 2.0, "assumed")
    assert (found.conditions, found.reference, found.note) == ("a cemented pin", "this test", "none")
    assert found.file == "here.toml"


@pytest.mark.parametrize("field", list(COMPLETE))
@pytest.mark.parametrize("blank", ['""', '"  "', None])
def test_blank_or_missing_field_is_refused(field: str, blank: str | None) -> None:
    kept = {key: given for key, given in COMPLETE.items() if key != field or blank is not None}
    text = "[[value]]\n" + "".join(f"{k} = {blank if k == field else given}\n" for k, given in kept.items())
    with pytest.raises(ReferenceValueError, match=f"here.toml.*the field {field} is blank"):
        read_files({"here.toml": text})


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"colour": '"red"'}, "this key is not known.*colour"),
        ({"basis": '"hearsay"'}, "this basis is not known.*hearsay"),
        ({"value": '"many"'}, "the field value is not a number"),
        ({"value": "true"}, "the field value is not a number"),
        ({"value": "inf"}, "the field value is not a number"),
        ({"uncertainty": '"roughly 3"'}, "the field uncertainty is not a number"),
        ({"uncertainty": "-1.0"}, "an uncertainty cannot be negative"),
        ({"unit": "3"}, "the field unit must be words"),
        ({"name": '"Pin play"'}, "a name is small letters"),
    ],
)
def test_wrong_record_is_refused_with_file_and_value(changed: dict[str, str], says: str) -> None:
    with pytest.raises(ReferenceValueError, match=f"here.toml.*{says}"):
        read_files({"here.toml": record(**changed)})


def test_name_given_twice_is_refused_and_both_files_are_named() -> None:
    with pytest.raises(ReferenceValueError, match=r"b\.toml, pin\.play_um.*also in a\.toml"):
        read_files({"a.toml": record(), "b.toml": record()})


def test_unknown_table_is_refused() -> None:
    with pytest.raises(ReferenceValueError, match=r"this key is not known.*values"):
        read_files({"here.toml": record().replace("[[value]]", "[[values]]")})


def test_text_that_is_not_toml_is_refused() -> None:
    with pytest.raises(ReferenceValueError, match=r"here\.toml: the data file cannot be read"):
        read_files({"here.toml": "[[value\n"})


def test_common_fields_fill_in_and_the_record_wins() -> None:
    text = '[common]\nnote = "from the whole file"\n' + record().replace('note = "none"\n', "")
    assert read_files({"here.toml": text})["pin.play_um"].note == "from the whole file"
    text = '[common]\nnote = "from the whole file"\n' + record()
    assert read_files({"here.toml": text})["pin.play_um"].note == "none"


def test_mirror_repeats_a_prefix_under_the_others() -> None:
    text = '[mirror]\n"pin" = ["bolt", "dowel"]\n' + record()
    found = read_files({"here.toml": text})
    assert list(found) == ["bolt.play_um", "dowel.play_um", "pin.play_um"]
    assert {v.value for v in found.values()} == {25.0}


@pytest.mark.parametrize(("stated", "u"), [('"none"', None), ('"not stated"', None), ("0", 0.0)])
def test_uncertainty_in_words_or_number(stated: str, u: float | None) -> None:
    assert read_files({"here.toml": record(uncertainty=stated)})["pin.play_um"].uncertainty == u


def test_rectangular_band_becomes_a_standard_uncertainty() -> None:
    """JCGM 100, 4.3.7: half-width over the square root of 3; a band of 3 has the variance 3."""
    found = read_files({"here.toml": record(uncertainty='"rectangular 3"')})["pin.play_um"]
    assert found.uncertainty == pytest.approx(math.sqrt(3.0), rel=1e-15)
    assert found.uncertainty_stated == "rectangular 3"


def test_unknown_name_offers_the_nearest() -> None:
    with pytest.raises(ReferenceValueError, match=r"mean crown\.11\.mesiodistal_mm"):
        value("crown.11.mesio_distal_mm")
    with pytest.raises(ReferenceValueError, match="pinseat reference"):
        value("zzzz")


def test_values_are_sorted_and_filtered_whatever_the_case() -> None:
    names = [v.name for v in values()]
    assert names == sorted(names)
    assert {v.name for v in values("EARNSHAW")} == {v.name for v in values() if "Earnshaw" in v.reference}
    assert len(values("EARNSHAW")) >= 3
    assert values("no such words anywhere") == ()


def test_version_is_a_short_fingerprint_that_stays() -> None:
    assert len(version()) == 12
    assert int(version(), 16) >= 0
    assert version() == version()


def test_names_end_in_their_unit() -> None:
    suffix = {
        "%": "_percent",
        "1/K": "_per_K",
        "1": ("_probability", "_share", "_ratio"),
    }
    plain = {v.name: "_" + v.unit.replace("/", "_").replace(" ", "_") for v in values()}
    wrong = [v.name for v in values() if not v.name.endswith(suffix.get(v.unit, plain[v.name]))]
    assert wrong == []


def test_our_own_assumptions_stand_in_a_file_of_their_own() -> None:
    """One file a source: no file mixes our own assumptions with somebody's figures."""
    for item in (resources.files("pinseat.reference") / "data").iterdir():
        document = tomllib.loads(item.read_text("utf-8"))
        common = document.get("common", {})
        bases = {{**common, **one}["basis"] for one in document["value"]}
        assert len(bases - {"assumed"}) == 0 or "assumed" not in bases, item.name


def test_every_route_has_its_four_errors_with_an_uncertainty() -> None:
    for copy, field in Chain.model_fields.items():
        for route in get_args(field.annotation):
            for error in ("scale_percent", "position_um", "tilt_deg", "depth_um"):
                found = value(f"ledger.{copy}.{route.replace(' ', '_')}.{error}")
                assert found.uncertainty is not None, found.name
                assert found.uncertainty > 0.0, found.name


def test_what_is_assumed_gives_its_argument() -> None:
    silent = [v.name for v in values() if v.basis == "assumed" and v.note in ("none", "not stated")]
    assert silent == []


def test_what_is_from_memory_states_its_confidence() -> None:
    silent = [v.name for v in values() if v.basis == "from memory" and "confidence" not in v.note]
    assert silent == []
