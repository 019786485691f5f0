"""The autumn ahead: what comes of each sowing date of each cover, and what would make one fit.

The season itself is followed in ``season``.
"""
