"""Linetender watches a home-built breathing-air line and the person who breathes from it."""

__version__ = "0.1.0"
