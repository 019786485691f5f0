"""The field on the ground: where plants stand, what is laid and spread, and the list to load.

Dates come from ``season``; drawing and printing are in ``render``.
"""
