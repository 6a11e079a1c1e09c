"""Models in open formats: written (export) and taken over (adopt)."""
