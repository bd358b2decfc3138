"""The desk: the therapist's pages in a browser, served by this machine to this machine only."""
