"""Impression: what the rubber does to every pin, how to take it, and whether each pin is back in place."""
