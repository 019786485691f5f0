"""Pure functions of days, one idea a module: arrays with the day on the last axis in, arrays out.

No files, no clock, no field entry: what they need is an argument; not reached is NaN.
"""
