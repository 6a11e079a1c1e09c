"""``interlock explain``: the language, the requirement patterns and the faults in plain words."""
