"""``python -m pinseat`` is the command ``pinseat``."""

from pinseat.cli import main

main()
