"""Many places on a grid or in a table: the question, the blocks, the answers and their files.

A cell is answered by ``season``, like a field.
"""
