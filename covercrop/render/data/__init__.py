"""Answers for machines: JSON, CSV and iCalendar.

Keys are a contract: none is renamed or dropped.
"""
