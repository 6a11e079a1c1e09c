"""Rehearsing procedures: each step, each human deviation from it, and the way back."""
