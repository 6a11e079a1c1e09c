"""What a cluster's scheduler may be wrong with, for those who have no cluster."""

from __future__ import annotations


class NoClusterError(Exception):
    """A scheduler cannot be reached; the text says which and why."""
