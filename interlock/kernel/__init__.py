"""The kernel: finite systems, what may be asked of them, and what an answer looks like.

Engines, the model builder and the studies share these types and nothing else. The kernel knows
nothing of vehicles, YAML or Structured Text.
"""
