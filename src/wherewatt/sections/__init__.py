"""Where one stretch of a ride ends and the next begins."""
