"""From the rows of a file to rows of the store."""
