"""How results are told: text, JSON, JUnit."""
