"""The command ``new``."""
