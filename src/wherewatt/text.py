"""Small helps with sentences."""

from __future__ import annotations


def counted(number: int, noun: str) -> str:
    """Return a number with its noun: "1 gap", "2 gaps"."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
