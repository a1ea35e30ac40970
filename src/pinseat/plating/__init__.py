"""Plating: the current in the masked cups, how thick the metal grows, and what the log says of it."""
