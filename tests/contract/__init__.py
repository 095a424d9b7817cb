"""What the project promises: shapes of files, messages, the parts of the code."""
