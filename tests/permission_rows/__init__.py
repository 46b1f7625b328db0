"""Who may do what: the rows of the permission table, one module an area."""
