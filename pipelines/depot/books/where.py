"""What a depot's books are called in its folder; whoever only asks whether a folder is a depot needs no database."""

#: The books themselves, and the word by which they and the depot know that they belong together.
FILE, WORD = "books.sqlite", "books.id"
