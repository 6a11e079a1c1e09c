"""Hostile and broken inputs, and processes that are killed."""
