"""Arithmetic of functional safety, and the quantification of fault trees.

Every function works on figures that somebody claims: rates, coverages, scores. None of them
awards a performance level or an integrity level; that takes the whole of the standards, and an
assessor.
"""
