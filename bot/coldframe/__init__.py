"""coldframe: a chat bot that takes a team from "where does our growth leak?" to honestly judged trials."""

__version__ = "0.1.0"
