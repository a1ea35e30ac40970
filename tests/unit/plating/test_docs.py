"""What the page on the log shows can be typed as it stands."""

import re
import tomllib
from pathlib import Path

from pinseat.case.plating import Plating
from pinseat.plating.baths import bath_of
from pinseat.plating.calibration import calibrate, calibrated

PAGE = Path(__file__).parents[3] / "docs" / "how-to" / "keep-the-plating-log.md"


def test_every_example_is_a_case_and_the_small_cell_calibrates() -> None:
    blocks = re.findall(r"```toml\n(.*?)```", PAGE.read_text(encoding="utf-8"), flags=re.DOTALL)
    stated = [Plating.model_validate(tomllib.loads(block)["plating"]) for block in blocks]
    assert len(stated) == 4
    (cell,) = [plating.cell for plating in stated if plating.cell]
    (plates,) = [plating.two_plates for plating in stated if plating.two_plates]
    bath = bath_of(stated[0].bath, "silver plated")
    got = calibrate(bath, cell, None)
    assert got.misfit < 2.0
    assert 5.0 < got.conductivity_S_m < 25.0
    after = calibrated(bath, got)
    assert after.exchange_range_A_m2[1] / after.exchange_range_A_m2[0] < 100.0
    assert calibrate(bath, None, plates).misfit < 2.0


def test_every_option_of_the_page_is_an_option_of_the_command() -> None:
    import inspect

    from pinseat.cli.log import log

    known = {f"--{name.replace('_', '-')}" for name in inspect.signature(log).parameters}
    used = set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", PAGE.read_text(encoding="utf-8")))
    assert used <= known
    assert len(used) > 10
