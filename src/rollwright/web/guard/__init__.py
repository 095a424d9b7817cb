"""What every request passes before a page sees it: each guard is one small layer with its own reason."""
