"""Forecasts against what came: hindcasts, own bloom records and their fit, tables of degree-days.

The season is followed by the same function as in ``season``.
"""
