"""One place's daily record: read, checked, filled, fetched from stations, and the rest of its season.

No plant and no soil: what the weather does to them is in ``models``.
"""
