"""How well every check sees its fault, by size, and how often it speaks on clean data."""
