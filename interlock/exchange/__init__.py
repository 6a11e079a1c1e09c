"""The open XML exchange format of programs (TC6): ladder, blocks, charts and text as one tree.

What is drawn becomes the syntax tree of `interlock.st`, so everything behind it takes it like text.
"""
