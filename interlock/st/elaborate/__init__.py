"""From a project in Structured Text to one program of scalars."""
