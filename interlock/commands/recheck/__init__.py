"""Recheck: verdicts again, from their evidence and the model alone, by a solver."""
