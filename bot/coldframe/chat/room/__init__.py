"""A chat room of our own: the service itself, its log, and the page that shows it in a browser."""
