"""What comes out of simulated recordings against what was simulated: bias, scatter, what stated doubts are worth."""
