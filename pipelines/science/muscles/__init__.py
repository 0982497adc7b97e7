"""Muscle signals: conditioning, amplitudes, bursts, co-contraction, disturbances."""
