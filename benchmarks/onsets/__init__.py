"""How far onsets of muscles by published detectors lie from the truth, and what their stated uncertainty is worth."""
