"""Can this be believed: doubts, comparability, noise, uncertainty, and what other treatments would say."""
