"""Nuts and saddles for stringed instruments: from bench measurements to proven cuts."""

__version__ = "0.1.0"
