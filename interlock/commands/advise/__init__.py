"""The weakest permissive of an output, beside what the program says."""
