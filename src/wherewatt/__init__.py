"""wherewatt: where the watt-hours of a light electric vehicle's ride went."""

__version__ = "0.1.0"
