"""What pages are built from."""
