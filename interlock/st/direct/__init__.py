"""A controller that executes a project statement by statement, on its tree as written.

It is the slow and obvious twin of what elaboration, checker and lowering make of the same project:
it shares the tree and the names of the memory with them, and no code.
"""
