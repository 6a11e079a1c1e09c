"""For test suites of one's own: models collected by pytest, and controllers driven by Hypothesis.

pytest loads `interlock.testing.plugin` by itself. What needs more than pytest is imported when it
is used, so that a test run that has nothing to do with models starts as fast as before.
"""
