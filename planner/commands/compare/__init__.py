"""Two finished runs side by side: which sites move, and why."""
