"""Nuts and saddles for stringed instruments: from bench measurements to proven cuts.

What is promised to stay is the command and its files; of the package, its version alone. The
modules are for those who maintain it (see DEVELOPERS.md).
"""

__all__ = ["__version__"]

__version__ = "0.1.0"
