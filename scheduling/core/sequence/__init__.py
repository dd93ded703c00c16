"""Watering programs to commands, and the proof that the commands are safe for every delay."""
