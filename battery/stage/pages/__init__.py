"""What the patient sees, page by page, and what leads from one to the next."""
