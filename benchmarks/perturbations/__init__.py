"""What a fault of the equipment does to every outcome, and whether it is inside the stated uncertainty or told."""
