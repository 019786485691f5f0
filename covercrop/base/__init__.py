"""The ground that everything stands on: errors, units, records, files shipped, read and replaced whole.

Nothing here knows a field, a plant or a day's weather.
"""
