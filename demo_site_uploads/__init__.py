"""Invented demonstration data of manystrides and the simulator that makes it."""
