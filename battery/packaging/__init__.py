"""Makes what a clinic installs: one folder with all in it, and a Debian package of that."""
