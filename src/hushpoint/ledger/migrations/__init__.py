"""Changes of the tables, oldest first."""
