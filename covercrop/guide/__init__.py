"""The manual's pages, a question each, as they are shipped and shown.

Text alone: what a page states is tested against the program from outside.
"""
