"""The field file: its entries, reading it strictly, writing a note into it, and whose weather it has.

Nothing is forecast here.
"""
