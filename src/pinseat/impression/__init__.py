"""Impression: where the rubber moves each pin, how the tray comes off, and the tally of projections."""
