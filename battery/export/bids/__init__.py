"""The dataset for readers of BIDS."""
