"""One room for each command: what it asks, studies and tells."""
