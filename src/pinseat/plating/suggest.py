"""What to change at the bench: arrangements and currents tried on coarse cells, the best of them grown."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from scipy.spatial import KDTree

from pinseat.case.plating import Plating, Rod, Step
from pinseat.ledger.handover import Progress, quiet
from pinseat.plating.baths import Bath
from pinseat.plating.bodies import waxed
from pinseat.plating.cells import Cells, prepare
from pinseat.plating.field import Solved, solve_cells
from pinseat.plating.growth import grow
from pinseat.plating.hung import Stand, drive_of, with_rods
from pinseat.plating.model import Drive, Electrolyte, Field, Float, Geometry, Growth, Stage
from pinseat.plating.pieces import Piece
from pinseat.plating.plan import electrolyte_of, stages_of
from pinseat.plating.result import Aim, Suggestion
from pinseat.plating.search import Arrangement, Leg, Trial, search
from pinseat.reference import value

ROD = {"diameter_mm": 1.0, "bare_mm": 2.0, "above_floor_mm": 3.0}
"""The rod that is tried in each cup."""
ROD_SHARES = (0.5, 0.9)
"""Parts of the current that come through the rods."""
WAX_MM = (0.5, 1.0)
"""Further bands that are tried."""
SHARES = (0.25, 0.5, 1.0)
"""Currents that are tried, over the planned one."""
MOST = 5
"""Longest list."""
STEPS = 10
"""Of the growth of the best."""
_TURNS = 2
_NEAR = 0.02
_CORRECTION = (0.1, 4.0)


class Trials:
    """The cups on coarse cells, asked many times: with other currents, other baths, rods, and wax.

    Parameters
    ----------
    geometry : Geometry
        As stated, coarse.
    plating : pinseat.case.plating.Plating
    pieces : sequence of Piece
        Those that are in the geometry.
    stands : mapping of str to Stand
    bath : Bath
    current_mA : float
        Planned main current of these pieces.
    part : float
        That over the current of all pieces on the supply.
    """

    def __init__(
        self,
        geometry: Geometry,
        plating: Plating,
        pieces: Sequence[Piece],
        stands: Mapping[str, Stand],
        bath: Bath,
        current_mA: float,
        part: float = 1.0,
    ) -> None:
        self.geometry, self.plating, self.pieces, self.stands = geometry, plating, pieces, stands
        self.bath, self.electrolyte, self.current_mA = bath, electrolyte_of(bath), current_mA
        self.part = part
        self._cells: dict[bool, Cells] = {}
        self._waxed: dict[tuple[bool, float], Cells] = {}
        self._before: dict[tuple[bool, float], Solved] = {}
        self._spots: tuple[Float, Float, Float] | None = None
        self._known: dict[tuple[Arrangement, float], Float] = {}
        self.mm_per_h = 3.6e-3 * self.electrolyte.deposit_mm3_per_C
        self.correction: Float | None = None

    def learn(self, growth: Growth, legs: Sequence[Leg], rod_share: float) -> None:
        """Set the rates right by what a deposit has made of them: thickness as grown over that of bare cups.

        Parameters
        ----------
        growth : Growth
            Left alone when it does not hold its metal.
        legs : sequence of Leg
            Through which it was grown.
        rod_share : float
        """
        if not _holds(growth):
            return
        bare = sum(
            leg.hours * self.mm_per_h * self.densities(Arrangement(rod_share, leg.wax_mm), leg.current_mA)
            for leg in legs
        )
        assert self._spots is not None
        there = np.array([e.piece for e in growth.first.electrodes])[growth.surface.electrode]
        near = KDTree(growth.surface.point[there]).query(self._spots[0])[1]
        grown = growth.thickness_mm[-1][there][near]
        self.correction = np.clip(grown / np.maximum(bare, 1e-9), *_CORRECTION)

    def solve(self, electrolyte: Electrolyte, drive: Drive) -> Field:
        """As stated, with another bath."""
        key = (False, 0.0)
        found = solve_cells(self._at(key), electrolyte, drive, self._before.get(key))
        self._before[key] = found
        return found.field

    def densities(self, one: Arrangement, current_mA: float) -> Float:
        """Density of every spot of the stated arrangement, in another; A/m2.

        Raises
        ------
        PlatingError
            As :func:`pinseat.plating.field.solve`; when a rod has no room.
        """
        if (one, current_mA) in self._known:
            return self._known[one, current_mA]
        key = (one.rod_share > 0.0, one.wax_mm)
        drive = drive_of(self.with_rods_of(one.rod_share, current_mA), current_mA, current_mA)
        found = solve_cells(self._at(key), self.electrolyte, drive, self._before.get(key))
        self._before[key] = found
        field = found.field
        place, edge, _ = self._seen(field)
        piece = np.array([e.piece for e in field.electrodes])[field.surface.electrode]
        near = KDTree(field.surface.point[piece]).query(place)[1]
        density = np.where(edge < one.wax_mm, 0.0, field.density_A_m2[piece][near])
        self._known[one, current_mA] = density
        return density

    def with_rods_of(self, share: float, main_mA: float) -> Plating:
        """The plating as stated, or with rods in every cup that give so much of a main current, by area."""
        if share <= 0.0:
            return _rescaled(self.plating, main_mA / self.current_mA)
        cups = [piece for piece in self.pieces if piece.form == "cup"]
        area = sum(piece.area_mm2 for piece in cups)
        rods = tuple(Rod(piece=p.name, current_mA=share * main_mA * p.area_mm2 / area, **ROD) for p in cups)
        return self.plating.model_copy(update={"rods": rods})

    def _at(self, key: tuple[bool, float]) -> Cells:
        """Cells in an arrangement: wax changes no shape, so it has those of its bare cups."""
        rods, wax_mm = key
        if rods not in self._cells:
            geometry = self.geometry
            if rods:
                geometry = with_rods(geometry, self.with_rods_of(1.0, self.current_mA).rods, self.stands)
            self._cells[rods] = prepare(geometry)
        if key not in self._waxed:
            bare = self._cells[rods]
            self._waxed[key] = replace(bare, geometry=waxed(bare.geometry, wax_mm))
        return self._waxed[key]

    def _seen(self, field: Field) -> tuple[Float, Float, Float]:
        """The spots of the stated arrangement, how far from the wax edge, and the same of the last cells."""
        if self._spots is None:
            piece = np.array([e.piece for e in field.electrodes])[field.surface.electrode]
            place, zone = field.surface.point[piece], self.geometry.zone
            edge = np.full(len(place), np.inf) if zone is None else zone.from_edge_mm(place)
            last = np.where(field.surface.band[piece] >= 0, np.inf, edge)
            self._spots = place, edge, last
        return self._spots

    @property
    def last_mm(self) -> Float:
        """Of spots in the last cell at the wax edge, how far from it they are; infinite for the others."""
        if self._spots is None:
            self.densities(Arrangement(), self.current_mA)
        assert self._spots is not None
        return self._spots[2]


def suggestions(
    trials: Trials, aim: Aim, planned: Growth, stages: Sequence[Stage], progress: Progress = quiet
) -> tuple[Suggestion, ...]:
    """Try arrangements and currents on coarse cells, and grow the best of them.

    The bare cups' rates are set right by what the planned deposit has made of them. When the best, grown,
    still misses the minimum or passes the limit, its own growth sets them right and the search is made once
    more; what misses again is not offered.

    Parameters
    ----------
    trials : Trials
    aim : Aim
    planned : Growth
        Of the programme as planned.
    stages : sequence of Stage
        Of that.
    progress : callable

    Returns
    -------
    tuple of Suggestion
        Programmes that reach the minimum everywhere without passing the rim's limit, those that no other
        beats in both time and evenness, the shortest first. Empty when there is none.
    """
    trials.learn(planned, _legs_of(stages), 0.0)
    told: list[Suggestion] = []
    for turn in range(_TURNS):
        progress("trying arrangements", turn / _TURNS)
        found = _search(trials, aim)[:MOST]
        told = [
            Suggestion(says(one, trials.part), one.hours, one.minimum_mm, one.rim_mm, toml_of(one, trials))
            for one in found
        ]
        if not found:
            break
        growth = _grown(found[0], trials, aim, progress)
        if not _holds(growth):
            break
        end = growth.thickness_mm[-1][growth.surface.band >= 0]
        least, most = float(end.min()), float(end.max())
        told[0] = replace(told[0], hours=growth.hours_100, minimum_mm=least, rim_mm=most, grown=True)
        if least >= (1.0 - _NEAR) * aim.minimum_mm and most <= (1.0 + _NEAR) * _rim_limit(aim):
            break
        start = value("plating.start_share").value * found[0].legs[0].current_mA
        begin = Leg(start, value("plating.look_h").value)
        trials.learn(growth, (begin, *found[0].legs), found[0].rod_share)
        told = []
    progress("trying arrangements", 1.0)
    return tuple(told)


def _search(trials: Trials, aim: Aim) -> tuple[Trial, ...]:
    shares = (0.0,) if trials.plating.rods or not _cups(trials) else (0.0, *ROD_SHARES)
    families = [
        (Arrangement(share), *((Arrangement(share, wax),) if wax else ()))
        for share in shares
        for wax in (0.0, *WAX_MM)
    ]
    return search(
        trials.densities,
        families,
        [share * trials.current_mA for share in SHARES],
        mm_per_h=trials.mm_per_h,
        wanted_mm=aim.minimum_mm,
        rim_limit_mm=_rim_limit(aim),
        density_limit_A_m2=trials.bath.density_limit_A_m2,
        longest_h=value("plating.longest_h").value,
        correction=trials.correction,
        last_mm=trials.last_mm,
    )


def _rim_limit(aim: Aim) -> float:
    return max(aim.rim_mm, 1.01 * aim.minimum_mm)


def _legs_of(stages: Sequence[Stage]) -> tuple[Leg, ...]:
    return tuple(
        Leg((one.drive.current_mA or 0.0) + sum(one.drive.own_mA.values()), one.hours, one.wax_mm)
        for one in stages
    )


def _holds(growth: Growth) -> bool:
    return 100.0 * abs(growth.closure) <= value("plating.closure_percent").value


def _grown(one: Trial, trials: Trials, aim: Aim, progress: Progress) -> Growth:
    """A programme with its deposit grown, on coarse cells."""
    main = max(leg.current_mA for leg in one.legs)
    changed = trials.with_rods_of(one.rod_share, main).model_copy(update={"steps": steps_of(one)})
    geometry = with_rods(trials.geometry, changed.rods, trials.stands) if one.rod_share else trials.geometry
    stages = stages_of(changed, aim, trials.pieces, trials.bath, main)
    return grow(
        geometry, trials.electrolyte, stages, steps=STEPS, wanted_mm=aim.minimum_mm, progress=progress
    )


def _cups(trials: Trials) -> bool:
    return any(piece.form == "cup" for piece in trials.pieces)


def _rescaled(plating: Plating, factor: float) -> Plating:
    """The same with the stated rods' own currents for another main current."""
    rods = tuple(
        rod.model_copy(update={"current_mA": factor * rod.current_mA}) if rod.current_mA else rod
        for rod in plating.rods
    )
    return plating.model_copy(update={"rods": rods})


def says(one: Trial, part: float = 1.0) -> str:
    """A programme in bench words, its currents those of all pieces on the supply."""
    words, wax = [], 0.0
    if one.rod_share > 0.0:
        rod = f"bare end {ROD['bare_mm']:g} mm, {ROD['above_floor_mm']:g} mm above the floor"
        share = f"rods together {100 * one.rod_share:.0f} % of the current"
        words.append(f"an insulated rod in each cup, {rod}, on a supply of its own, {share}")
    for leg in one.legs:
        cover = f"cover {leg.wax_mm:g} mm of the rim with wax and go on with " if leg.wax_mm > wax else ""
        wax = leg.wax_mm
        words.append(f"{cover}{leg.current_mA / part:.3g} mA for {leg.hours:.1f} h")
    return ", then ".join(words) if one.rod_share <= 0.0 else f"{words[0]}: {', then '.join(words[1:])}"


def steps_of(one: Trial) -> tuple[Step, ...]:
    """A programme as a case states it."""
    return tuple(Step(current_mA=leg.current_mA, hours=leg.hours, wax_mm=leg.wax_mm) for leg in one.legs)


def toml_of(one: Trial, trials: Trials) -> str:
    """What to put into ``case.toml`` to have a programme mapped and set on the sheet."""
    main = max(leg.current_mA for leg in one.legs)
    rods = trials.with_rods_of(one.rod_share, main).rods
    legs = [replace(leg, current_mA=leg.current_mA / trials.part) for leg in one.legs]
    blocks = [_block("steps", vars(leg)) for leg in legs]
    blocks += [_block("rods", rod.model_dump(exclude_none=True)) for rod in rods]
    return "\n".join(blocks)


def _block(table: str, entries: Mapping[str, object]) -> str:
    def plain(entry: object) -> str:
        return f'"{entry}"' if isinstance(entry, str) else f"{entry:.4g}"

    lines = [f"{key} = {plain(entry)}" for key, entry in entries.items() if entry != 0.0]
    return "\n".join([f"[[plating.{table}]]", *lines, ""])
