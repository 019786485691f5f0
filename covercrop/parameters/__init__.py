"""What a cover, a crop and a manure are: cited records, read strictly from the shipped TOML, and own bloom numbers.

No field and no weather; nothing is computed from the numbers here.
"""
