"""What is worth a look, kind by kind."""
