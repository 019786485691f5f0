"""Answers for people and for machines."""
