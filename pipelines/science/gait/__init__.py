"""What is read off one footfall: times, lengths, force, foot strike, stiffness."""
