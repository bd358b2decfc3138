"""How much of a path is tremor-related jitter, and at which frequency."""
