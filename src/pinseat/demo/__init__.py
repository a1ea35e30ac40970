"""Invented cases with known truth."""
