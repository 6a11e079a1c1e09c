"""Seeded defects: whether the requirements of a model notice what they should notice."""
