"""What a depot's books are called in its folder, and how they come back; whoever only asks needs no database."""

#: The books themselves, and the word by which they and the depot know that they belong together.
FILE, WORD = "books.sqlite", "books.id"
#: What to do where they are not as they were left.
BACK = "Run manystrides verify --repair --from BACKUP, or manystrides restore."
