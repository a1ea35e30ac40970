"""Survey: where the pins stand and which draw serves them all."""
