"""What a table IS: frozen definitions of every table, the study file, the site profile and a trial in memory.

Nothing here reads or writes files, and nothing here knows pandas; the converters live in ``schemas.convert``.
"""
