"""Sourced formulae only: arrays in, arrays out; no files, no state."""
