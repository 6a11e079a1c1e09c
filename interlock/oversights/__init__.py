"""What is worth a look in a model and its program, though no requirement is violated by it."""
