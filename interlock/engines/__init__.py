"""Engines; each explores kernel systems and knows nothing else."""
