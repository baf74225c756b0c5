"""The chat: from a text to an answer."""
