"""What of a message Slack takes, as far as it has shown: some limits are published nowhere, others may change."""

from __future__ import annotations

from dataclasses import dataclass, replace

MAX_SIZE = 11_500  # of about 13,200 at which Slack was seen to refuse the blocks of a message
LEAST_SIZE = 2_000
TOO_LONG = frozenset({"msg_blocks_too_long", "msg_too_long"})
NO_SUCH_BLOCK = frozenset({"invalid_blocks", "invalid_blocks_format"})


@dataclass(frozen=True, slots=True)
class Fit:
    """How large one message may be, in UTF-16 units of its blocks, and whether tables are taken."""

    size: int = MAX_SIZE
    tables: bool = True

    def after(self, code: str) -> Fit | None:
        """The next smaller one, when Slack has refused a message with this word; None where that would not help."""
        if code in TOO_LONG and self.size > LEAST_SIZE:
            return replace(self, size=max(LEAST_SIZE, self.size // 2))
        return replace(self, tables=False) if code in NO_SUCH_BLOCK and self.tables else None


FIT = Fit()
"""Until Slack shows otherwise."""
