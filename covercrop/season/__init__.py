"""One field's season from sowing to harvest, worked out in one place for every command, and every decision.

No printing: the words for an answer are in ``render``.
"""
