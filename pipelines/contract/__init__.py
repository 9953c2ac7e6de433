"""What an export, a rule and a message are."""
