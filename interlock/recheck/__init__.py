"""Checks verdicts again from the evidence written with them, without any engine."""
