"""What is done to a sampled signal before anything is read off it: filters, sampling, pairing, simple measures."""
