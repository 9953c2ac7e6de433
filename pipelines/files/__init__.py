"""A file a person hands over, read as text tables and screened for identifiers."""
