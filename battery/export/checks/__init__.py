"""Whether an export still holds."""
