"""Recorded runs against a model: the first moment at which a record cannot be explained."""
