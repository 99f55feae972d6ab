"""Sentences that pictures, pages and commands all say, in one place so that they say the same."""

from __future__ import annotations

NONE_FLAGGED = "0 flagged. That is not a finding of none."
WHO_DECIDES = "A person answers for every flag; the supervising authority decides."
