"""Which values of a model's times would do: ranges in which every verdict stays as it is."""
