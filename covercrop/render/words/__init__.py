"""Sentences and phrases for every screen and page, from what the answer holds.

No layout, no colour and no decision.
"""
