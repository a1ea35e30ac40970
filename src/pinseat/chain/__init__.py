"""The chain: runs a case step by step and records where each result came from."""

from pinseat.chain.answer import answer
from pinseat.chain.run import STEPS, Outcome, run

__all__ = ["STEPS", "Outcome", "answer", "run"]
