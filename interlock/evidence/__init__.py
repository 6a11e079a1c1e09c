"""Evidence of verdicts: systems as SMT-LIB, sets of states, obligations; knows no engine."""
