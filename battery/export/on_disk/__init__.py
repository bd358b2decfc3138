"""The files of an export: tables, copies as CSV, descriptor, signature."""
