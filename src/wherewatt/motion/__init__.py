"""From points as recorded to legs that can be trusted: time, distance, speed, stops."""
