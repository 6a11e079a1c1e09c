"""Structured Text (IEC 61131-3): parser, checker, lowering and a direct interpreter.

``parser`` reads text into ``syntax``; ``check`` turns that into ``typed`` or tells every mistake;
``lower`` gives the kernel's expressions, ``interpret`` executes directly; ``write`` gives text.
"""
