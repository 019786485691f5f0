"""How an answer looks: words, figures, screen, page and data, a folder each.

Nothing is decided or worked out here; what is shown was in the answer.
"""
