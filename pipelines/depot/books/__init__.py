"""The books: everything the depot knows, in one transactional database; bytes are files and lie beside it.

By default SQLite in the depot's folder, ``books.sqlite``, for its owner only, since it names withheld files; with
several machines PostgreSQL by a URL. ``Books`` is what others use: questions by subject (deliveries, trials, arrivals,
stamps), answered with the plain rows of ``rows``, and ``transaction`` round everything that is written.

What a delivery's result is worth is decided here alone. Its folder is renamed into place first, the older one to
``work/<delivery>.replaced.<word of the older result>``; then one transaction writes the new result and its line in the
ledger; then the older folder goes. A kill in between leaves a folder that the books do not know. ``mend`` in
``pipelines.depot.exchange``, which every writer does first, compares: an older folder whose word the books still hold
is put back in place of the new one, any other is removed. Folders and books that differ without such a rest are
refused.
"""
