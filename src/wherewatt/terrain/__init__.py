"""Height and grade along the ride, from terrain tiles and the recording."""
