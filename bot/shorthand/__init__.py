"""From a text to what it may mean. Pure."""
