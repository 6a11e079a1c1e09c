"""Structured Text (IEC 61131-3): from the texts of a project to what the kernel explores.

``parser`` reads each text into ``syntax``; ``elaborate`` makes one program of scalars of all;
``check`` turns that into ``typed`` or tells every mistake; ``lower`` gives the kernel's
expressions, ``interpret`` executes what was checked; ``write`` gives text. ``direct`` executes
the project as written, apart from all of these. ``constructs`` says what becomes of each part of
the language.
"""
