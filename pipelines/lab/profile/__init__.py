"""Drafts a site profile from a laboratory's own C3D files: what is seen, how sure it is, and what a person must check.

Nothing here decides: a guess that is not sure enough becomes a comment, and every line says what it rests on.
"""
