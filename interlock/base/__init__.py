"""What every layer may use: input errors with a place, and small text helpers."""
