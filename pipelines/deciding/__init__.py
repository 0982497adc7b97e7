"""What people decide afterwards: a trial accepted in spite of a check, a runner taken out."""
