"""What the store takes and gives back: small frozen records, each the form of a row."""
