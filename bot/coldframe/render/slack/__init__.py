"""Neutral messages as Slack shows them: blocks, views, its text markup."""
