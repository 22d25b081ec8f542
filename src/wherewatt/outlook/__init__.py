"""What is known of a vehicle, taken to rides that nobody has ridden yet."""
