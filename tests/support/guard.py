"""A guard that somebody opens and shuts, as a part of a model file."""

GUARD = """\
  guard:
    states: [shut, open]
    moves:
      - {from: shut, to: open, by: operator, says: opens the guard}
      - {from: open, to: shut, by: operator, says: shuts the guard}
"""
