"""The forms of the books, each made from the one before (Alembic); run by ``pipelines.depot.upgrade``.

A change of ``pipelines.depot.books.tables`` needs a new file in ``versions``, numbered on, and ``FORM`` raised.
"""
