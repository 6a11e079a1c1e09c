"""Model files: what a user writes, checked, and built into a kernel system."""
