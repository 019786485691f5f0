"""What a command prints in a terminal, a module a command.

Sentences come from ``render.words``.
"""
