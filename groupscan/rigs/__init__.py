"""Rigs: what arrows are made of, how fast they leave, how they fly, where the pins go."""
