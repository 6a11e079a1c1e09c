"""What some pictures show: conversions, influence, what a supply feeds."""
