"""What staff do at a tablet: measure it, send visits, take in what the clinic gave."""
