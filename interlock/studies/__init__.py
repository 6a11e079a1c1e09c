"""What a user asks for: verification and what follows from it."""
