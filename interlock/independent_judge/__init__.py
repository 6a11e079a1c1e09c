"""The independent judge: runs models by an interpreter of its own."""
