"""What the equipment itself shows in a trial: level, noise, vibration, dead band, scale, lag; and what is corrected."""
