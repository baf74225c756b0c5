"""From what it may mean to what is written and said. Pure."""
