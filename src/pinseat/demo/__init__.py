"""Invented cases with known truth: scanned arches, their preparations and their pins."""
