"""The chain: runs a case step by step and records where each result came from."""

from pinseat.chain.answer import answer
from pinseat.chain.run import Outcome, run
from pinseat.chain.steps import STEPS

__all__ = ["STEPS", "Outcome", "answer", "run"]
