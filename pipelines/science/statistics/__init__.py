"""Contrasts, pooling, mixed models, control charts."""
