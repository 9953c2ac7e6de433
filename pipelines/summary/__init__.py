"""The accreditation volume summary and its files."""
