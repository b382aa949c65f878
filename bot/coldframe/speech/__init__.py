"""What the bot says, as platform-neutral values. All sentences of the product live below this folder."""
