"""The sun, looked up."""
