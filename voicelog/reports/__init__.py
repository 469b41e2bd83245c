"""What a walk looks like on paper and in a browser: the same contents as HTML and as plain text."""
