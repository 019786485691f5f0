"""The version, where nothing else is loaded with it."""

__version__ = "0.12.0"
