"""Seating: will the bridge go home, and what loses the fit."""

from pinseat.seating.step import seat

__all__ = ["seat"]
