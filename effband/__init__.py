"""Uncertainty bands for efficiency claims about small energy machines."""

__version__ = "0.1.0"
