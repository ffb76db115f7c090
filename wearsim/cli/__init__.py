"""The command line: one small module a command; nothing is computed here."""
