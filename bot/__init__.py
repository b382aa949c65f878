"""coldframe: a chat bot that takes a team from "where does our growth leak?" to trials with an honest verdict."""

__version__ = "0.1.0"
