"""The report for the assessor: one page, complete in itself, and the same as PDF."""
