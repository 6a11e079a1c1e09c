"""Fault insertion: which faults together break a requirement, and what each of them does."""
