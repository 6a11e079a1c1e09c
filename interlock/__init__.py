"""Interlock: a verifier for the safety-interlock logic of a convertible vehicle body.

The package is layered; imports run strictly downward (see DEVELOPERS.md)::

    cli > report > pictures > studies > replay > model > st > kernel > base
                                                 engines   > kernel > base
"""

__version__ = "0.1.0"
