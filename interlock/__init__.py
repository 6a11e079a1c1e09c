"""Interlock: a verifier for the safety-interlock logic of a convertible vehicle body.

The package is layered; imports run strictly downward. DEVELOPERS.md has the map of the rooms, and
`tests/meta/test_layers.py` states their order.
"""

__version__ = "0.1.0"
