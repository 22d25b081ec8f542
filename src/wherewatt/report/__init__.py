"""Results for people and for programs."""
