"""The command line: the parser and a module a command, each its options, one call of the library, what is shown.

Nothing is computed here.
"""
