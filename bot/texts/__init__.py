"""Every word a person reads."""
