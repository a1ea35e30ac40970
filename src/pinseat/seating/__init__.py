"""Seating: will the bridge go home, and what loses the fit."""
