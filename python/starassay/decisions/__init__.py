"""From numbers to a decision: claims, means, comparison, advice."""
