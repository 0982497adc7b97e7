"""What is made from a table definition: one module per target, and ``words`` for the sentences they share.

Nothing here adds a rule of its own: a type, bound, key or word that is not in the definition is not in the result.
"""
