"""Diagrams, as DOT text first and rendered second."""
