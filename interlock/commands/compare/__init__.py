"""A design change: what differs between two models, by meaning and by behaviour."""
