"""What lies ahead of a plan: each date with its kind, its odds and its field.

Calendar files are written in ``render.data``.
"""
