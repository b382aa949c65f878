"""Slack: translates what its people do into happenings, and what is to be said into its calls. Decides
nothing.
"""
