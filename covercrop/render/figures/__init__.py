"""Charts, maps and plans to scale, as SVG or text.

What is drawn comes from the answer; sentences come from ``render.words``.
"""
