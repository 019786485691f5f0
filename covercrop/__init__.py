"""Turning-under windows, residue lag and safe planting dates for legume cover crops.

The command ``covercrop`` is the usual way in; the modules are the library.
Temperatures are in degrees Celsius and lengths in metres or millimetres
everywhere inside; :mod:`covercrop.units` converts at the edges.
"""

__version__ = "0.1.0"
