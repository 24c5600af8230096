"""The house book: tables, the journal and what follows from it, on SQLite or PostgreSQL."""
