"""Structured Text (IEC 61131-3): parser, checker, lowering and a direct interpreter."""
