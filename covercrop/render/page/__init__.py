"""The report page, its type in print, and what a notebook shows of a plan.

Charts come from ``render.figures``.
"""
